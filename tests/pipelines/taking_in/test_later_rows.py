"""A later delivery that tells otherwise of a session or runner: earlier trials are judged with what counts now."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import example, given
from hypothesis import strategies as st

from pipelines.assets.run import at_work, plan
from pipelines.taking_in.batch import work_off
from pipelines.taking_in.due import ROWS_CHANGED
from tests.delivery_builders import STUDY, a_delivery, planned, tables, take_in_only
from tests.tries import tries

MASS = planned("FS-01", "1")[0].session.row()["mass_kg"]
#: Trials of three deliveries of one session.
NAMES = {1: ("standing", "1"), 2: ("2",), 3: ("3",)}
Told = Mapping[int, dict[str, Any]]
#: The second corrects the mass.
CORRECTED: Told = {1: {}, 2: {"mass_kg": MASS + 0.5}}


def bring(place: Path, told: Told, *numbers: int) -> dict[str, str]:
    """What a run of these deliveries did: delivery -> why."""
    for number in numbers:
        a_delivery(place / "inbox", number, names=NAMES[number], told=told[number])
    summary = take_in_only(place / "inbox", place / "depot")
    assert summary.exit_code == 0, summary.text()
    return {done.record.delivery_id: done.why for done in summary.done}


def mass_used(place: Path, delivery: str) -> set[float]:
    return {row["mass_used_kg"] for row in tables(place / "depot")[delivery]["trial_outcomes"]}


def test_a_later_mass_of_a_session_judges_its_earlier_trials_again_with_it_and_only_once(tmp_path: Path) -> None:
    assert bring(tmp_path, CORRECTED, 1) == {"brack-001": "new"}
    assert mass_used(tmp_path, "brack-001") == {MASS}
    assert bring(tmp_path, CORRECTED, 2) == {"brack-002": "new", "brack-001": ROWS_CHANGED}
    assert mass_used(tmp_path, "brack-001") == mass_used(tmp_path, "brack-002") == {MASS + 0.5}
    (row,) = tables(tmp_path / "depot")["brack-001"]["sessions"]
    assert row["mass_kg"] == MASS, "what it sent stays"
    assert bring(tmp_path, CORRECTED) == {}


def test_a_plan_names_the_trials_that_a_later_delivery_would_have_judged_again(tmp_path: Path) -> None:
    bring(tmp_path, CORRECTED, 1)
    a_delivery(tmp_path / "inbox", 2, names=NAMES[2], told=CORRECTED[2])
    with at_work(STUDY, tmp_path / "depot", "tester", tmp_path / "inbox", workers=1) as bench:
        next(work_off(bench))  # and it ends before what follows
    told = plan(STUDY, tmp_path / "inbox", tmp_path / "depot", "tester", workers=1)
    trials = sorted(row["trial_id"] for row in tables(tmp_path / "depot")["brack-001"]["standings"])
    assert f"brack-001: {ROWS_CHANGED}\n    {', '.join(trials)}\n" in told


def test_an_empty_cell_of_a_later_delivery_tells_nothing(tmp_path: Path) -> None:
    told: Told = {1: {"leg_length_m": 0.8}, 2: {"leg_length_m": 0.9}, 3: {"leg_length_m": None}}
    bring(tmp_path, told, 1, 2)
    before = tables(tmp_path / "depot")
    assert bring(tmp_path, told, 3).keys() <= {"brack-001", "brack-002", "brack-003"}
    after = tables(tmp_path / "depot")
    for delivery in ("brack-001", "brack-002"):
        assert after[delivery]["footfalls"] == before[delivery]["footfalls"]


def in_some_way() -> st.SearchStrategy[list[list[int]]]:
    """Three deliveries in some order, in one run or in several."""
    orders = st.permutations([1, 2, 3])
    return st.builds(lambda order, cuts: _cut(order, sorted(cuts)), orders, st.sets(st.integers(1, 2)))


def _cut(order: list[int], cuts: list[int]) -> list[list[int]]:
    return [order[a:b] for a, b in pairwise([0, *cuts, 3])]


TOLD = st.fixed_dictionaries(
    {"mass_kg": st.sampled_from([MASS, MASS + 0.5, MASS + 1.0])},
    optional={"leg_length_m": st.sampled_from([None, 0.85, 0.9])},
)


@tries(1)
@given(told=st.fixed_dictionaries({1: TOLD, 2: TOLD, 3: TOLD}), way=in_some_way())
@example(
    told={n: {"mass_kg": MASS + n, "leg_length_m": leg} for n, leg in ((1, 0.85), (2, 0.9), (3, None))},
    way=[[3], [2], [1]],
)
def test_in_whatever_order_deliveries_come_every_result_is_the_same(told: Told, way: list[list[int]]) -> None:
    found = []
    for runs in ([[1, 2, 3]], way):
        with TemporaryDirectory() as folder:
            for numbers in runs:
                bring(Path(folder), told, *numbers)
            found.append(tables(Path(folder) / "depot"))
    assert found[0] == found[1]
    assert {row["mass_used_kg"] for own in found[0].values() for row in own["trial_outcomes"]} == {told[3]["mass_kg"]}
