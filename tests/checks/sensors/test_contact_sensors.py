"""Checks of foot sensors against the force of the same feet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from checks.context import Context
from schemas.trial import Signal
from tests.as_frames import footfall_rows_of
from tests.checks.muscle_builders import CONTACTS, a_switch, changed, with_sensors, with_signals
from tests.checks.running_checks import Case, run, status, with_parts

SWITCH, ONCE, FEET = (
    "foot_sensors_switch",
    "foot_sensors_close_once_for_each_contact",
    "foot_sensors_are_on_their_own_feet",
)
LATE, DRIFT = "foot_sensors_close_at_contact", "foot_sensors_keep_their_delay"
PLACE = "foot sensor FOOT l"


def dead() -> Signal:
    return changed(a_switch(), lambda x, t: np.random.default_rng(1).normal(0, 0.02, len(x)))


def opened(start_s: float, end_s: float) -> Signal:
    """The left switch is open between two moments after its third contact."""
    at = CONTACTS["left"][2][0]
    return changed(a_switch(), lambda x, t: np.where((t > at + start_s) & (t < at + end_s), 0.01, x))


def on_the_other_feet() -> tuple[Signal, Signal]:
    left, right = a_switch("left"), a_switch("right")
    return changed(left, lambda x, t: right.samples), changed(right, lambda x, t: left.samples)


PLANTED = {
    SWITCH: Case(lambda: with_signals(dead()), PLACE),
    ONCE: Case(lambda: with_signals(opened(-0.05, 0.4)), PLACE),
    FEET: Case(lambda: with_sensors(*on_the_other_feet()), "left and right foot sensor"),
    LATE: Case(lambda: with_sensors(a_switch(late_s=0.05), a_switch("right")), PLACE),
    DRIFT: Case(lambda: with_sensors(a_switch(more_per_s=0.008), a_switch("right")), PLACE),
}
CLEAN = dict.fromkeys(PLANTED, lambda: with_sensors(a_switch("left"), a_switch("right")))


@pytest.mark.parametrize("name", PLANTED)
def test_without_a_sensor_there_is_nothing_to_look_at(name: str) -> None:
    assert status(name, with_signals()) == "skipped"


def only_right_footfalls(context: Context, count: int = 6) -> Context:
    """What is left of the footfalls when they are made from sensors and the left one is dead."""
    assert context.footfalls is not None
    frame = context.footfalls.frame()
    right = frame[frame["side"] == "right"].head(count).assign(event_method="sensor")
    return with_parts(context, footfalls=footfall_rows_of(right))


def test_a_dead_switch_is_found_by_the_other_foot_where_it_leaves_no_footfalls_of_its_own() -> None:
    (finding,) = run(SWITCH, only_right_footfalls(with_signals(dead(), a_switch("right")))).findings
    assert finding.place == PLACE
    assert "while the other foot touches the ground 6 times" in finding.seen
    (_, first), (second, _) = CONTACTS["right"][:2]
    assert first < finding.moment_s < second


def test_one_contact_of_the_other_foot_says_nothing_of_a_switch() -> None:
    own = dead()
    assert status(SWITCH, only_right_footfalls(with_signals(own), count=1)) == "skipped"
    assert status(SWITCH, only_right_footfalls(with_signals(own), count=2)) == "found"
    late = replace(own, start_s=CONTACTS["right"][1][0])  # recorded from the other foot's second contact on
    assert status(SWITCH, only_right_footfalls(with_signals(late), count=2)) == "skipped"


def test_a_switch_that_works_passes_by_the_other_foot_too() -> None:
    assert status(SWITCH, only_right_footfalls(with_signals(a_switch("left"), a_switch("right")))) == "pass"


def test_a_contact_that_is_told_twice_is_found_and_a_bounce_is_not() -> None:
    (finding,) = run(ONCE, with_signals(opened(0.08, 0.14))).findings
    assert "closes 2 times in one contact" in finding.seen
    assert finding.moment_s == pytest.approx(CONTACTS["left"][2][0])
    assert status(ONCE, with_signals(opened(0.010, 0.020))) == "pass"


def test_a_switch_that_closes_downwards_is_read_too() -> None:
    assert status(ONCE, with_signals(changed(a_switch(), lambda x, t: 5 - x))) == "pass"


@pytest.mark.parametrize(("late_s", "ended"), [(0.020, "pass"), (-0.020, "pass"), (0.040, "found"), (-0.040, "found")])
def test_a_delay_counts_in_both_directions(late_s: float, ended: str) -> None:
    report = run(LATE, with_sensors(a_switch(late_s=late_s), a_switch("right")))
    assert report.runs[0].status == ended
    if report.findings:
        assert ("after" if late_s > 0 else "before") in report.findings[0].seen


def test_clocks_matched_on_the_contacts_leave_no_delay_to_judge() -> None:
    context = with_sensors(a_switch(late_s=0.05), a_switch("right"), clock_basis="sensor_against_force")
    assert (status(LATE, context), status(DRIFT, context)) == ("skipped", "skipped")


@pytest.mark.parametrize(("more_per_s", "ended"), [(0.001, "pass"), (0.008, "found")])
def test_a_delay_may_grow_by_less_than_the_match_of_clocks_leaves(more_per_s: float, ended: str) -> None:
    assert status(DRIFT, with_sensors(a_switch(more_per_s=more_per_s), a_switch("right"))) == ended


def test_switches_under_the_other_feet_miss_no_contacts() -> None:
    assert status(ONCE, with_signals(*on_the_other_feet())) != "found"
