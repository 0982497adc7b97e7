"""Checks of the phase in which muscles are active: exchanged labels, exchanged sides, a late clock, one muscle alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import Signal
from tests.checks.muscle_builders import CALF, CONTACTS, SHIN, TRIAL, a_muscle, four_muscles, with_signals
from tests.checks.running_checks import Case, status

BETWEEN, SIDES = "muscles_of_a_leg_are_not_exchanged", "left_and_right_muscles_are_not_exchanged"
CLOCK = "muscles_keep_time_with_the_feet"
PHASE = "muscles_are_active_in_their_phase"


def exchanged_muscles() -> tuple[Signal, ...]:
    return four_muscles(
        soleus_left=a_muscle(acts_as=(SHIN, "left")), tibialis_anterior_left=a_muscle(SHIN, acts_as=(CALF, "left"))
    )


def exchanged_sides(muscle: str = CALF) -> tuple[Signal, ...]:
    turned = {
        f"{muscle}_left": a_muscle(muscle, "left", acts_as=(muscle, "right")),
        f"{muscle}_right": a_muscle(muscle, "right", acts_as=(muscle, "left")),
    }
    return four_muscles(**turned)


def one_wrong() -> tuple[Signal, ...]:
    return four_muscles(soleus_left=a_muscle(acts_as=(SHIN, "left")))


def late(by_s: float, source: str = "trial_file") -> tuple[Signal, ...]:
    return tuple(replace(signal, start_s=by_s, source=source) for signal in four_muscles())


PLANTED = {
    CLOCK: Case(lambda: with_signals(*late(0.17)), "all muscles"),
    BETWEEN: Case(lambda: with_signals(*exchanged_muscles()), "soleus left, tibialis_anterior left"),
    SIDES: Case(lambda: with_signals(*exchanged_sides()), "soleus left and right"),
    PHASE: Case(lambda: with_signals(*one_wrong()), "soleus left"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: with_signals(*four_muscles()))


@pytest.mark.parametrize("name", PLANTED)
@pytest.mark.parametrize("other", PLANTED)
def test_each_exchange_is_told_by_one_check_only(name: str, other: str) -> None:
    out_of_time = "skipped" if name == CLOCK else "pass"  # then nothing can be said of single muscles
    assert status(other, PLANTED[name].context()) == ("found" if other == name else out_of_time)


def test_the_shins_sides_are_told_too() -> None:
    assert status(SIDES, with_signals(*exchanged_sides(SHIN))) == "found"


def test_a_muscle_whose_phase_is_not_known_is_not_judged() -> None:
    other = a_muscle(acts_as=(SHIN, "left"))
    assert status(PHASE, with_signals(replace(other, muscle="adductor_magnus"))) == "skipped"


def test_one_leg_is_enough_to_tell_that_it_is_the_other() -> None:
    own = tuple(a_muscle(m, "left", acts_as=(m, "right")) for m in (CALF, SHIN))
    assert status(SIDES, with_signals(*own)) == "found"
    assert status(SIDES, with_signals(*(a_muscle(m, "left") for m in (CALF, SHIN)))) == "pass"


def test_half_a_stride_is_another_leg_in_one_file_and_a_clock_in_a_second_file() -> None:
    strides = np.diff([start for start, _ in CONTACTS["left"]])
    half_s = float(np.median(strides)) / 2
    assert [status(name, with_signals(*late(half_s))) for name in (SIDES, CLOCK)] == ["found", "pass"]
    assert status(CLOCK, with_signals(*late(half_s, "sidecar"))) == "found"


def test_muscles_of_one_kind_tell_no_clock() -> None:
    assert status(CLOCK, with_signals(*(s for s in late(0.17) if s.muscle == CALF))) == "skipped"


def test_where_the_markers_have_the_sides_exchanged_muscles_are_not_blamed() -> None:
    turn = {"left": "right", "right": "left"}
    markers = {
        f"{role.rpartition('_')[0]}_{turn[role.rpartition('_')[2]]}" if role.rpartition("_")[2] in turn else role: path
        for role, path in TRIAL.markers.items()
    }
    context = with_signals(*four_muscles(), trial=replace(TRIAL, markers=markers))
    assert context.footfalls is not None
    first = min(CONTACTS, key=lambda side: CONTACTS[side][0])
    assert context.footfalls.columns["side"][0] != first
    for name in PLANTED:
        assert status(name, context) == "skipped"
