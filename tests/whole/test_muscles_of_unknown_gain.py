"""A laboratory that no longer knows its amplifier's gain: everything but microvolts is there, across deliveries too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from demo_site_uploads.simulator.delivery import Delivery, PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from tests.delivery_builders import tables, take_in_only

SESSION = Session("FS-01", "week_0", "brack")
NEEDS_MICROVOLTS = (
    "muscle_amplitudes_are_those_of_skin",
    "muscles_are_free_of_mains_hum",
    "muscles_are_free_of_heartbeats",
)


def _unknown(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [row | {"amplifier_gain": "unknown"} if row["role"] == "muscle" else row for row in rows]


def _taken_in(folder: Path, *, known: bool) -> dict[str, list[dict[str, Any]]]:
    """Tables of two deliveries of a session: the reference condition is in the first, the other in the second."""
    for number, condition in enumerate(("cushioned", "unshod"), start=1):
        trials = (
            PlannedTrial(SESSION, condition, "standing", Asked("standing")),
            PlannedTrial(SESSION, condition, "1", Asked(duration_s=2.6), channels_fault=None if known else _unknown),
        )
        Delivery("brack", f"brack-{number:03d}", "brack", number, trials).pack(folder / "inbox", folder / "work")
    take_in_only(folder / "inbox", folder / "depot")
    found: dict[str, list[dict[str, Any]]] = {}
    for _, own in sorted(tables(folder / "depot").items()):
        for name, rows in own.items():
            found.setdefault(name, []).extend(rows)
    return found


def test_normalised_outcomes_are_those_of_a_known_gain_and_microvolts_are_empty(tmp_path: Path) -> None:
    known, unknown = (_taken_in(tmp_path / word, known=word == "known") for word in ("known", "unknown"))
    assert {row["standing"] for row in unknown["standings"]} == {"accepted"}
    fractions = [[row["amplitude_fraction"] for row in own["muscle_amplitudes"]] for own in (known, unknown)]
    assert len({row["trial_id"] for row in unknown["muscle_amplitudes"]}) == 2
    assert None not in fractions[0]
    assert fractions[1] == pytest.approx(fractions[0], rel=1e-9)
    indices = [[row["co_contraction_index"] for row in own["co_contractions"]] for own in (known, unknown)]
    assert indices[1] == pytest.approx(indices[0], rel=1e-9)
    onsets = [[row["onset_before_contact_s"] for row in own["muscle_bursts"]] for own in (known, unknown)]
    assert onsets[1] == onsets[0]

    assert all(row["amplitude_uv"] is row["reference_uv"] is None for row in unknown["muscle_amplitudes"])
    assert all(row["baseline_uv"] is None and row["gain_known"] is False for row in unknown["muscle_signals"])
    assert all(row["reference_uv"] is None for row in unknown["muscle_references"])
    assert not [row for row in unknown["curves"] if row["quantity"].endswith("_uv")]
    behind = {(r["muscle"], r["side"]): r["reference_recorded_uv"] for r in unknown["muscle_references"]}
    skin = {(r["muscle"], r["side"]): r["reference_uv"] for r in known["muscle_references"]}
    assert {key: behind[key] / skin[key] for key in skin} == pytest.approx(dict.fromkeys(skin, 1000.0))

    runs = [row for row in unknown["check_runs"] if row["check_name"] in NEEDS_MICROVOLTS]
    assert {row["status"] for row in runs} == {"skipped"}
    running = [row for row in runs if row["subject"].endswith("-1")]
    assert len(running) == 6
    assert all("gain" in row["reason"] for row in running)
