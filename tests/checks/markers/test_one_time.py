"""Frames that are missing untold, and markers of a foot that are late: what must not be taken for them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from benchmarks.detection.real_long import recorded
from benchmarks.detection.specimens import Case, Specimen, specimen
from benchmarks.detection.way import seen_in
from benchmarks.real_recordings.recordings import there

MISSING, TOGETHER = "no_frames_are_missing_untold", "markers_of_a_foot_move_together"


def found(name: str, own: Specimen) -> bool:
    return bool(seen_in(own, name).findings)


def with_points(change: Callable[[np.ndarray], np.ndarray]) -> Specimen:
    own = specimen(Case(3, "brack"))
    return own.with_recording(points=change(own.recording.points.copy()))


def repeated(points: np.ndarray) -> np.ndarray:
    points[200] = points[199]
    return points


def a_gap_of_all(points: np.ndarray) -> np.ndarray:
    points[200:204] = np.nan
    return points


def two_exchanged(points: np.ndarray) -> np.ndarray:
    points[200:, [0, 1]] = points[200:, [1, 0]]
    return points


def one_jumps(points: np.ndarray) -> np.ndarray:
    points[200, 2] += 500.0
    return points


@pytest.mark.parametrize("change", [repeated, a_gap_of_all, two_exchanged, one_jumps])
def test_repeated_and_hidden_frames_and_single_markers_that_jump_are_no_missing_frames(
    change: Callable[[np.ndarray], np.ndarray],
) -> None:
    assert not found(MISSING, with_points(change))


def test_a_frame_that_is_missing_between_two_is_named() -> None:
    later = [*range(200), *range(201, 640), 639]
    (finding,) = seen_in(with_points(lambda points: points[later]), MISSING).findings
    assert finding.place == "frame 201"
    assert "2.1 times" in finding.seen


@pytest.mark.parametrize("change", [one_jumps, two_exchanged, a_gap_of_all])
def test_labels_that_change_places_and_gaps_do_not_make_a_foot_late(
    change: Callable[[np.ndarray], np.ndarray],
) -> None:
    assert not found(TOGETHER, with_points(change))


@pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")
def test_real_runs_are_whole_and_their_feet_on_time() -> None:
    for own in recorded().values():
        for name in (MISSING, TOGETHER):
            (ended,) = seen_in(own, name).runs
            assert ended.status == "pass"
