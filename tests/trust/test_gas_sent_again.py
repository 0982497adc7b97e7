"""Breathing gas of a runner who withdrew stays out when its values come again under another runner's code."""

from __future__ import annotations

from pathlib import Path

import pytest

from demo_site_uploads.simulator.tables import csv_bytes
from pipelines.assets.deciding import withdraw
from pipelines.depot.storage import Depot
from schemas.delivery_beside import SENT_BREATHS
from tests.delivery_builders import STUDY, a_delivery, leaving, planned, tables, take_in_only

SAMPLES = [(700 + 7 * i * i % 911, 500 + 11 * i * i % 797) for i in range(16)]


def gas(runner: str, samples: list[tuple[int, int]]) -> bytes:
    session = planned(runner, "standing")[0].session.row()["session_id"]
    rows = [
        {"session_id": session, "condition": "cushioned", "bout": 1, "elapsed_s": 15 * (i + 1),
         "oxygen_uptake_ml_per_min": a, "carbon_dioxide_output_ml_per_min": b, "heart_rate_per_min": 120}
        for i, (a, b) in enumerate(samples)
    ]  # fmt: skip
    return csv_bytes(SENT_BREATHS, rows)


def bouts(depot: Depot, name: str) -> list[dict]:
    return tables(depot.root)[name]["energy_bouts"]


@pytest.mark.parametrize("scope", ["all", "metabolic"])
def test_gas_that_was_withdrawn_is_withheld_under_another_code_and_other_gas_is_not(tmp_path: Path, scope: str) -> None:
    inbox, depot = tmp_path / "inbox", Depot(tmp_path / "depot")
    a_delivery(inbox, names=("standing",), replace_files={"breaths.csv": gas("FS-01", SAMPLES)})
    take_in_only(inbox, depot.root)
    assert len(bouts(depot, "brack-001")) == 1
    withdraw(STUDY, depot.root, leaving("FS-01", scope))
    later = {"breaths.csv": gas("FS-02", [(a + 1, b) for a, b in SAMPLES[2:]])}
    a_delivery(inbox, 2, runners=("FS-02",), names=("standing",), replace_files=later)
    other = {"breaths.csv": gas("FS-03", [(b, a) for a, b in SAMPLES])}
    a_delivery(inbox, 3, runners=("FS-03",), names=("standing",), replace_files=other)
    take_in_only(inbox, depot.root)
    assert bouts(depot, "brack-002") == []
    assert len(bouts(depot, "brack-003")) == 1
    told = " ".join(row["seen"] for row in tables(depot.root)["brack-002"]["findings"])
    assert f"{len(SAMPLES) - 2} rows of breaths.csv: their values are those of a runner who withdrew" in told
    assert {row["standing"] for row in tables(depot.root)["brack-002"]["standings"]} == {"accepted"}
