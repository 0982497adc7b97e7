"""Checks of the order of recordings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from checks.context import Context
from tests.checks.received_builders import a_delivery, a_row
from tests.checks.running_checks import Case, of_delivery, run, status
from tests.checks.study_builders import a_session

Rows = list[dict[str, Any]]


def whole() -> Rows:
    """A session in order: standing and running, shod and unshod."""
    return [
        a_row("T1", "standing", trial_order=1),
        a_row("T2", trial_order=2),
        a_row("T3", "standing", condition="unshod", trial_order=3),
        a_row("T4", condition="unshod", trial_order=4),
    ]


def trials(rows: Rows, **changes: Any) -> Context:
    return of_delivery(a_delivery(sent_trials=rows, **changes))


def numbered(*numbers: int | None) -> Context:
    return trials([{**row, "trial_order": number} for row, number in zip(whole(), numbers, strict=True)])


def running(shod: int, unshod: int) -> Context:
    rows = [a_row(f"A{n}", trial_order=n) for n in range(1, shod + 1)]
    rows += [a_row(f"B{n}", condition="unshod", trial_order=shod + n) for n in range(1, unshod + 1)]
    return trials(rows)


def runners(count: int, turned: int = 0) -> Context:
    """So many runners who came to both conditions, the last ``turned`` of them the other way round."""
    names = range(1, count + 1)
    sessions = [a_session(f"S{n}", f"P{n}") for n in names]
    rows = []
    for n in names:
        order = (1, 2) if n <= count - turned else (2, 1)
        rows.append(a_row(f"T{n}-a", session_id=f"S{n}", trial_order=order[0]))
        rows.append(a_row(f"T{n}-b", session_id=f"S{n}", condition="unshod", trial_order=order[1]))
    return trials(rows, sent_sessions=sessions)


PLANTED = {
    "trial_order_is_unique_in_a_session": Case(lambda: numbered(1, 2, 2, 4), "trial_id T3, column trial_order"),
    "trial_order_has_no_hole": Case(lambda: numbered(1, 2, 4, 5), "session_id S1, column trial_order", findings=4),
    "standing_trial_comes_before_running": Case(lambda: numbered(2, 1, 3, 4), "trial_id T1, column trial_order"),
    "conditions_have_about_as_many_trials": Case(lambda: running(5, 1), "session_id S1, condition unshod", findings=6),
    "condition_order_changes_from_runner_to_runner": Case(lambda: runners(7), "column trial_order"),
}
CLEAN = {
    **dict.fromkeys(PLANTED, lambda: trials(whole())),
    "condition_order_changes_from_runner_to_runner": lambda: runners(7, turned=1),
}


def test_a_number_that_stands_twice_is_no_hole_as_well() -> None:
    assert status("trial_order_has_no_hole", numbered(1, 2, 2, 4)) == "skipped"


def test_two_sessions_may_use_the_same_numbers() -> None:
    rows = [*whole(), a_row("T9", session_id="S2", trial_order=1)]
    sessions = [a_session(), a_session("S2", visit="last", study_day=70)]
    assert status("trial_order_is_unique_in_a_session", trials(rows, sent_sessions=sessions)) == "pass"


@pytest.mark.parametrize(
    ("numbers", "expected"),
    [((1, 2, 3, 4), "pass"), ((1, 2, 3, 5), "found"), ((5, 6, 7, 9), "skipped"), ((1, 2, 4, None), "skipped")],
)
def test_a_hole_is_told_of_whole_sessions_only(numbers: tuple, expected: str) -> None:
    assert status("trial_order_has_no_hole", numbered(*numbers)) == expected


def test_a_session_of_which_trials_came_before_may_have_holes() -> None:
    context = numbered(1, 2, 4, 5)
    assert context.delivery is not None
    resent = replace(context.delivery, known_trials={"T2": "mill-000"})
    assert status("trial_order_has_no_hole", of_delivery(resent)) == "skipped"


def test_the_numbers_that_are_missing_are_named() -> None:
    findings = run("trial_order_has_no_hole", numbered(1, 2, 4, 6)).findings
    assert "numbered 1 to 6, without 3, 5." in findings[0].seen


def test_standing_after_the_run_of_another_condition_is_as_it_should_be() -> None:
    assert status("standing_trial_comes_before_running", trials(whole())) == "pass"


@pytest.mark.parametrize(
    ("shod", "unshod", "expected"), [(3, 1, "pass"), (4, 2, "pass"), (4, 1, "found"), (2, 6, "found"), (8, 5, "pass")]
)
def test_half_as_many_trials_are_enough(shod: int, unshod: int, expected: str) -> None:
    assert status("conditions_have_about_as_many_trials", running(shod, unshod)) == expected


def test_a_condition_that_was_only_stood_in_is_not_counted() -> None:
    rows = [a_row(f"A{n}", trial_order=n) for n in range(1, 6)]
    rows.append(a_row("B1", "standing", condition="unshod", trial_order=6))
    assert status("conditions_have_about_as_many_trials", trials(rows)) == "pass"


@pytest.mark.parametrize(
    ("count", "turned", "expected"), [(6, 0, "skipped"), (7, 0, "found"), (8, 0, "found"), (7, 1, "pass")]
)
def test_a_fixed_order_is_told_of_seven_runners_or_more(count: int, turned: int, expected: str) -> None:
    assert status("condition_order_changes_from_runner_to_runner", runners(count, turned)) == expected


def test_the_chance_of_a_fixed_order_is_told() -> None:
    (finding,) = run("condition_order_changes_from_runner_to_runner", runners(7)).findings
    assert "shod, unshod" in finding.seen
    assert "once in 64 times" in finding.expected


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("cell", ["trial_id", "session_id", "condition", "kind", "trial_order"])
def test_cells_that_are_not_known_break_nothing(cell: str, subtests: pytest.Subtests) -> None:
    rows = [{**row, cell: None} for row in whole()[:2]] + whole()[2:]
    for name in PLANTED:
        with subtests.test(name=name):
            assert status(name, trials(rows)) in ("pass", "skipped")
