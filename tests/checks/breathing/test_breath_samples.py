"""Checks of the rows of metabolic bouts."""

from __future__ import annotations

import pytest

from checks.context import Context
from tests.checks.running_checks import Case, of_delivery, run, status
from tests.checks.study_builders import CARBON, OXYGEN, Rows, a_bout, changed, with_gas

PLACE = "session_id S1, condition shod, bout 1"


def gas(rows: Rows) -> Context:
    return of_delivery(with_gas(rows))


def clean() -> Context:
    return gas(a_bout() + a_bout(condition="unshod", every_s=30) + a_bout(condition="unshod", bout=2, every_s=10))


def turned(rows: Rows) -> Rows:
    return rows[:5] + rows[6:8] + rows[5:6] + rows[8:]


def with_gap(every_s: float, lost: int) -> Rows:
    rows = a_bout(every_s=every_s)
    return rows[:5] + rows[5 + lost :]


def frozen(count: int) -> Rows:
    """``count`` samples in a row are alike."""
    rows = a_bout()
    same = {name: rows[9][name] for name in (OXYGEN, CARBON)}
    return rows[:9] + [{**row, **same} for row in rows[9 : 9 + count]] + rows[9 + count :]


def zeros(count: int, every_s: float = 5.0) -> Rows:
    rows = a_bout(every_s=every_s)
    return [{**row, CARBON: 0.0} for row in rows[:count]] + rows[count:]


def copied(count: int) -> Rows:
    rows = a_bout()[:count]
    return rows + changed(rows, lambda row: {"condition": "unshod"})


PLANTED = {
    "breath_rows_are_in_time_order": Case(lambda: gas(turned(a_bout())), PLACE),
    "breath_samples_have_no_long_gap": Case(lambda: gas(with_gap(15, 4)), PLACE),
    "gas_sensors_read_something": Case(lambda: gas(changed(a_bout(), lambda row: {CARBON: 0.0})), PLACE),
    "gas_readings_do_not_freeze": Case(lambda: gas(frozen(6)), PLACE),
    "no_two_bouts_are_the_same": Case(lambda: gas(copied(24)), "session_id S1, condition unshod, bout 1"),
    "bouts_are_numbered_one_after_the_other": Case(
        lambda: gas(a_bout() + a_bout(bout=3)), "session_id S1, condition shod"
    ),
}
CLEAN = dict.fromkeys(PLANTED, clean)


def test_one_row_out_of_place_is_counted_once() -> None:
    (finding,) = run("breath_rows_are_in_time_order", gas(turned(a_bout()))).findings
    assert "the row of 120 s stands before that of 90 s; time goes back at 1 of 24 rows" in finding.seen


@pytest.mark.parametrize(
    ("every_s", "lost", "expected"),
    [(10, 2, "pass"), (10, 3, "found"), (2, 14, "pass"), (2, 15, "found"), (30, 2, "pass"), (30, 3, "found")],
)
def test_a_gap_is_long_by_seconds_or_by_intervals(every_s: float, lost: int, expected: str) -> None:
    assert status("breath_samples_have_no_long_gap", gas(with_gap(every_s, lost))) == expected


def test_samples_without_values_are_a_gap() -> None:
    rows = a_bout()
    lost = rows[:10] + changed(rows[10:15], lambda row: {OXYGEN: None}) + rows[15:]
    assert status("breath_samples_have_no_long_gap", gas(lost)) == "found"


@pytest.mark.parametrize(("count", "expected"), [(0, "pass"), (3, "pass"), (4, "found")])
def test_one_zero_in_twenty_samples_does_no_harm(count: int, expected: str) -> None:
    assert status("gas_sensors_read_something", gas(zeros(count))) == expected  # of 72 samples


@pytest.mark.parametrize(("count", "expected"), [(3, "pass"), (4, "found")])
def test_three_equal_samples_in_a_row_may_be(count: int, expected: str) -> None:
    assert status("gas_readings_do_not_freeze", gas(frozen(count))) == expected


def test_oxygen_alone_that_stands_still_is_no_hung_analyser() -> None:
    assert status("gas_readings_do_not_freeze", gas(changed(a_bout(), lambda row: {CARBON: 1900.0}))) == "pass"


@pytest.mark.parametrize(("count", "expected"), [(5, "pass"), (6, "found")])
def test_a_copy_needs_some_samples(count: int, expected: str) -> None:
    assert status("no_two_bouts_are_the_same", gas(copied(count))) == expected


def test_one_other_value_makes_another_bout() -> None:
    rows = copied(24)
    rows[-1] = {**rows[-1], OXYGEN: rows[-1][OXYGEN] + 1}
    assert status("no_two_bouts_are_the_same", gas(rows)) == "pass"


def test_bouts_may_begin_with_any_number() -> None:
    assert status("bouts_are_numbered_one_after_the_other", gas(a_bout(bout=2) + a_bout(bout=3))) == "pass"


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    "spoil", [{OXYGEN: None}, {OXYGEN: None, CARBON: None}, {"elapsed_s": None}, {"bout": None}, {"session_id": None}]
)
def test_cells_that_are_not_known_break_no_check_of_samples(spoil: dict) -> None:
    context = gas(changed(a_bout(), lambda row: spoil))
    assert {status(name, context) for name in PLANTED} <= {"pass", "skipped"}
