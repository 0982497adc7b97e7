"""Contacts of a trial lie within its own recording, whatever a second file beside it shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.processing import Processing
from schemas.trial import Signal, Trial
from tests.as_frames import contacts_by_method, contacts_of
from tests.builders import a_trial

PLAIN = Processing()
RATE, CONTACT_S, STRIDE_S = 1000.0, 0.25, 0.70
FIRST = {"right": -1.30, "left": -0.95}  # as in the trial, two strides before it starts


def a_switch(side: str, start_s: float, end_s: float) -> Signal:
    """A switch that was recorded from ``start_s`` to ``end_s``, while the runner runs on and on."""
    times = np.arange(round(start_s * RATE), round(end_s * RATE)) / RATE
    closed = (times - FIRST[side] + 1e-9) % STRIDE_S < CONTACT_S
    return Signal("foot_sensor", None, side, "V", RATE, np.where(closed, 5.0, 0.0), start_s=start_s, source="sidecar")


def without_plates(start_s: float, end_s: float) -> Trial:
    switches = tuple(a_switch(side, start_s, end_s) for side in ("right", "left"))
    return replace(a_trial(), plates=(), signals=switches)


def test_what_a_second_file_shows_before_and_after_the_trial_is_no_footfall_of_it() -> None:
    found = contacts_of(without_plates(-1.5, 5.0), PLAIN)
    assert {method for _, _, method in found} == {"sensor"}
    assert [side for side, _, _ in found] == ["right", "left"] * 4
    # right at 0.10 s and left at 0.45 s, as the trial has them in force; it lasts 3.0 s
    assert [c.start_s for _, c, _ in found] == pytest.approx([0.10 + 0.35 * i for i in range(8)], abs=0.001)
    assert found[-1][1].end_s == pytest.approx(2.80, abs=0.001)


def test_a_longer_second_file_gives_the_contacts_that_one_as_long_as_the_trial_gives() -> None:
    def moments(trial: Trial) -> list[float]:
        return [moment for _, c, _ in contacts_of(trial, PLAIN) for moment in (c.start_s, c.end_s)]

    assert moments(without_plates(-1.5, 5.0)) == pytest.approx(moments(without_plates(0.0, 3.0)), abs=1e-6)


@pytest.mark.parametrize(("later_s", "first_s"), [(-0.05, 0.05), (-0.15, 0.30)])
def test_a_contact_that_the_start_of_the_recording_cuts_is_left_out(later_s: float, first_s: float) -> None:
    trial = without_plates(-1.5, 5.0)
    moved = tuple(replace(s, start_s=s.start_s + later_s) for s in trial.signals)
    assert contacts_of(replace(trial, signals=moved), PLAIN)[0][1].start_s == pytest.approx(first_s, abs=0.001)


def test_a_contact_that_the_end_of_the_recording_cuts_is_left_out() -> None:
    trial = without_plates(-1.5, 5.0)
    moved = tuple(replace(s, start_s=s.start_s + 0.25) for s in trial.signals)  # the eighth is from 2.80 s to 3.05 s
    found = contacts_of(replace(trial, signals=moved), PLAIN)
    assert found[-1][1].end_s == pytest.approx(2.70, abs=0.001)


def test_sensors_that_show_contacts_before_the_trial_only_leave_the_word_to_the_markers() -> None:
    found = contacts_of(without_plates(-1.5, 0.05), PLAIN)
    assert {method for _, _, method in found} == {"markers"}


def test_methods_are_compared_on_the_trials_own_recording() -> None:
    trial = replace(without_plates(-1.5, 5.0), plates=a_trial().plates)
    found = contacts_by_method(trial, PLAIN)
    assert [side for side, _ in found["sensor"]] == [side for side, _ in found["force"]]
    assert min(c.start_s for _, c in found["sensor"]) >= 0
