"""A later delivery that tells otherwise of a session or runner: earlier trials are judged with what counts now."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipelines.taking_in.due import ROWS_CHANGED
from tests.delivery_builders import a_delivery, planned, tables, take_in_only

MASS = planned("FS-01", "1")[0].session.row()["mass_kg"]
#: What three deliveries of one session say: the second corrects the mass, the third the leg and the set speed, too.
TOLD: dict[int, dict[str, Any]] = {
    1: {"names": ("standing", "1")},
    2: {"names": ("2",), "told": {"mass_kg": MASS + 0.5}},
    3: {"names": ("3",), "told": {"mass_kg": MASS + 1.0, "leg_length_m": 0.9}},
}


def bring(place: Path, *numbers: int) -> dict[str, str]:
    """What a run of these deliveries did: delivery -> why."""
    for number in numbers:
        a_delivery(place / "inbox", number, **TOLD[number])
    summary = take_in_only(place / "inbox", place / "depot")
    assert summary.exit_code == 0, summary.text()
    return {done.record.delivery_id: done.why for done in summary.done}


def mass_used(place: Path, delivery: str) -> set[float]:
    return {row["mass_used_kg"] for row in tables(place / "depot")[delivery]["trial_outcomes"]}


def test_a_later_mass_of_a_session_judges_its_earlier_trials_again_with_it_and_only_once(tmp_path: Path) -> None:
    assert bring(tmp_path, 1) == {"brack-001": "new"}
    assert mass_used(tmp_path, "brack-001") == {MASS}
    assert bring(tmp_path, 2) == {"brack-002": "new", "brack-001": ROWS_CHANGED}
    assert mass_used(tmp_path, "brack-001") == mass_used(tmp_path, "brack-002") == {MASS + 0.5}
    (row,) = tables(tmp_path / "depot")["brack-001"]["sessions"]
    assert row["mass_kg"] == MASS, "what it sent stays"
    assert bring(tmp_path) == {}


@pytest.fixture(scope="module")
def at_once(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    place = tmp_path_factory.mktemp("at_once")
    bring(place, 1, 2, 3)
    found = tables(place / "depot")
    assert {row["mass_used_kg"] for own in found.values() for row in own["trial_outcomes"]} == {MASS + 1.0}
    return found


@pytest.mark.parametrize("order", [(1, 2, 3), (2, 3, 1), (3, 2, 1)])
def test_in_whatever_order_deliveries_come_every_result_is_the_same(
    at_once: dict[str, Any], tmp_path: Path, order: tuple[int, ...]
) -> None:
    for number in order:
        bring(tmp_path, number)
    assert tables(tmp_path / "depot") == at_once
