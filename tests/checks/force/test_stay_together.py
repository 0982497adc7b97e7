"""Force and markers that drift apart within a trial, and differences that are none of time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.detection.real_long import recorded
from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import seen_in
from benchmarks.real_recordings.recordings import there
from checks.force.stay_together import largest_step
from tests.tries import tries

NAME = "force_and_markers_stay_together"
TIMES = np.arange(12) * 0.36
LEFT = np.arange(12) % 2.0


@tries(40)
@given(st.integers(3, 9), st.sampled_from([-15.0, -6.0, 6.0, 15.0]), st.integers(0, 2**32 - 1))
def test_a_step_is_found_where_it_is_and_as_large_as_it_is_whatever_each_foot_differs_by(
    first: int, by_ms: float, seed: int
) -> None:
    noise = np.random.default_rng(seed).uniform(-0.5, 0.5, 12)
    step = largest_step(TIMES, LEFT, 4.0 + 5.0 * LEFT + by_ms * (np.arange(12) >= first) + noise)
    assert step is not None
    assert step.by_ms == pytest.approx(by_ms, abs=1.0)
    assert step.after_s == TIMES[first]


def test_a_step_too_small_or_of_one_contact_alone_is_not_told_and_two_contacts_tell_nothing() -> None:
    alone = np.where(np.arange(12) == 5, 8.0, 0.0)
    step = largest_step(TIMES, LEFT, alone)
    assert step is not None
    assert abs(step.by_ms) < 4 * step.error_ms
    assert largest_step(TIMES[:2], LEFT[:2], np.array([0.0, 9.0])) is None


def test_force_that_is_late_all_the_time_is_for_the_check_of_the_delay() -> None:
    own = specimen(Case(2, "brack"))
    late = own.with_recording(analog=np.roll(own.recording.analog, 20, axis=0))
    assert not seen_in(late, NAME).findings


@pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")
def test_real_runs_keep_force_and_markers_together() -> None:
    for own in recorded().values():
        (ended,) = seen_in(own, NAME).runs
        assert ended.status == "pass"
