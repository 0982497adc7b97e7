"""Checks of frames that were not measured: planted copies and lines, what must not be taken for one, a real runner."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from checks.registry import Weight
from schemas.trial import Trial
from tests.checks.marker_builders import a_person, a_runner, all_markers, emptied
from tests.checks.real_runner import needs_real_run, real_context
from tests.checks.running_checks import Case, of_trial, run, status, with_marker

FROZEN, REPEATED = "markers_are_not_frozen", "frames_are_not_repeated"
DRAWN = "frames_are_not_drawn_between_others"
KNEE = "lateral_femoral_epicondyle_left"


def held(trial: Trial, role: str, first: int, steps: int) -> Trial:
    """The position of one frame carried on for ``steps`` more frames."""

    def hold(path):
        path[first : first + steps + 1] = path[first]

    return with_marker(trial, role, hold)


def copied(trial: Trial, frames: list[int]) -> Trial:
    """Frames replaced by the one before, in every marker."""

    def copy(path):
        path = path.copy()
        for frame in frames:
            path[frame] = path[frame - 1]
        return path

    return all_markers(trial, copy)


def drawn(trial: Trial, period: int, first: int = 0) -> Trial:
    """Only every ``period`` th frame kept, and straight lines between them."""
    frames = np.arange(len(trial.markers[KNEE]))
    taken = np.union1d(frames[first::period], frames[[0, -1]])

    def draw(path):
        return np.stack([np.interp(frames, taken, column[taken]) for column in path.T], axis=1)

    return all_markers(trial, draw)


PLANTED = {
    FROZEN: Case(lambda: of_trial(held(a_runner(), KNEE, 200, 15)), f"{KNEE}, frame 201"),
    REPEATED: Case(lambda: of_trial(copied(a_runner(), list(range(20, 400, 20)))), "frame 21"),
    DRAWN: Case(lambda: of_trial(drawn(a_runner(), 2)), "marker rate"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(a_runner()))


@pytest.mark.parametrize(("steps", "expected"), [(10, "pass"), (11, "found")])
def test_a_marker_may_rest_for_a_twentieth_of_a_second(steps: int, expected: str) -> None:
    assert status(FROZEN, of_trial(held(a_runner(), KNEE, 200, steps))) == expected


def test_the_held_stretch_and_how_many_there_are_is_told() -> None:
    trial = held(held(a_runner(), KNEE, 100, 12), KNEE, 300, 20)
    (finding,) = run(FROZEN, of_trial(trial)).findings
    assert "0.100 s, frames 301 to 321" in finding.seen
    assert finding.seen.endswith(": 2.")


def test_a_gap_that_intake_filled_is_not_frozen() -> None:
    trial = with_marker(a_runner(), KNEE, lambda path: path * 0 + path[0])
    still = replace(trial, filled={**trial.filled, KNEE: np.ones(len(trial.markers[KNEE]), bool)})
    assert status(FROZEN, of_trial(still)) == "pass"


def test_a_whole_frame_that_rests_is_told_as_repeated_and_not_as_frozen() -> None:
    trial = copied(a_runner(), list(range(200, 220)))
    assert status(FROZEN, of_trial(trial)) == "pass"
    (finding,) = run(REPEATED, of_trial(trial)).findings
    assert "20 of " in finding.seen


def test_a_person_who_stands_may_stand_still() -> None:
    still = all_markers(a_person(), lambda path: path * 0 + path[0])
    assert {status(name, of_trial(still)) for name in PLANTED} == {"skipped"}


@pytest.mark.parametrize(("every", "weight"), [(90, Weight.RETURNS), (120, Weight.NOTES)])
def test_few_repeated_frames_are_noted_and_many_returned(every: int, weight: Weight) -> None:
    trial = copied(a_runner(), list(range(20, 590, every)))
    (finding,) = run(REPEATED, of_trial(trial)).findings
    assert finding.weight == weight
    assert f"every {every} frames as a rule" in finding.seen


def test_a_single_marker_that_rests_makes_no_repeated_frame() -> None:
    assert status(REPEATED, of_trial(held(a_runner(), KNEE, 200, 30))) == "pass"


def test_a_repeated_frame_is_seen_though_some_markers_are_hidden() -> None:
    trial = copied(a_runner(), [300])
    hidden = with_marker(trial, KNEE, lambda path: path * np.nan)
    assert status(REPEATED, of_trial(hidden)) == "found"


@pytest.mark.parametrize("period", [2, 3, 4, 5])
@pytest.mark.parametrize("first", [0, 1])
def test_the_rate_of_the_cameras_is_told_from_the_frames_between(period: int, first: int) -> None:
    (finding,) = run(DRAWN, of_trial(drawn(a_runner(), period, first))).findings
    assert f"Of every {period} frames only one was measured" in finding.seen
    assert f"recorded at {200 / period:g} Hz" in finding.remedy


def on_grid(trial: Trial, millimetres: float) -> Trial:
    return all_markers(trial, lambda path: np.round(path * 1000 / millimetres) * millimetres / 1000)


@pytest.mark.parametrize("millimetres", [0.1, 0.25, 1.0, 5.0])
def test_positions_stored_in_steps_are_no_lines(millimetres: float) -> None:
    assert status(DRAWN, of_trial(on_grid(a_runner(), millimetres))) == "pass"


def test_lines_are_found_through_steps_of_a_tenth_of_a_millimetre() -> None:
    assert status(DRAWN, of_trial(on_grid(drawn(a_runner(), 2), 0.1))) == "found"


def test_a_trial_of_a_few_frames_tells_no_rhythm() -> None:
    short = all_markers(drawn(a_runner(), 2), lambda path: path[:40])
    assert status(DRAWN, of_trial(short)) == "skipped"


def test_filled_gaps_do_not_look_like_drawn_frames() -> None:
    trial = a_runner()
    for role in list(trial.markers):
        trial = emptied(trial, role, np.arange(100, 500, 3))
    assert status(DRAWN, of_trial(trial)) in {"pass", "skipped"}
    assert status(REPEATED, of_trial(trial)) != "found"


@needs_real_run
@pytest.mark.parametrize("name", PLANTED)
def test_the_frames_of_the_real_run_were_measured(name: str) -> None:
    assert status(name, real_context("running")) == "pass"


@needs_real_run
def test_the_same_faults_are_found_in_the_real_run() -> None:
    context = real_context("running")
    assert context.trial is not None
    faults = {
        FROZEN: held(context.trial, KNEE, 60, 9),
        REPEATED: copied(context.trial, [30, 60, 90]),
        DRAWN: drawn(context.trial, 2),
    }
    for name, trial in faults.items():
        assert status(name, of_trial(trial)) == "found"
