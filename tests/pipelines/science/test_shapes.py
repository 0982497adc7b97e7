"""The shape of strides stays when a recording is cut, resampled, rescaled or made noisy, and is no other trial's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from benchmarks.real_recordings.recordings import runway, still, there, treadmill
from pipelines.science.known_again import Kept, kept_in, rows_in, shape_rows
from pipelines.science.shapes import ALIKE, POINTS, SERIES, STEP, apart, coded, decoded, shapes_of
from pipelines.science.signals.filters import low_pass
from pipelines.science.standing_shapes import ALIKE as SWAYS_ALIKE
from pipelines.science.standing_shapes import OVER_FRAMES, SUMS, are_one, fits, postures_apart, sway_of
from schemas.processing import Processing
from schemas.trial import FloatArray, Trial
from tests.builders import a_standing_trial, a_trial
from tests.tries import tries

PLAIN = Processing()


@cache
def wandering(seed: int) -> Trial:
    """A runner of whom no stride is as the last one: every marker strays by some millimetres, slowly."""
    trial, chance = a_trial(footfalls=14), np.random.default_rng(seed)
    count = len(next(iter(trial.markers.values())))
    place = np.linspace(0, 1, count)

    def strays() -> FloatArray:
        waves = [
            chance.normal(0, 1, 3) * np.sin(2 * np.pi * (k * place[:, None] + chance.random(3))) for k in range(25)
        ]
        return 0.006 * np.sum(waves, axis=0) / 25**0.5

    return replace(trial, markers={name: path + strays() for name, path in trial.markers.items()})


def changed(trial: Trial, change: Callable[[FloatArray], FloatArray]) -> Trial:
    return replace(trial, markers={name: change(path) for name, path in trial.markers.items()})


def resampled(stretch: float) -> Callable[[FloatArray], FloatArray]:
    def change(path: FloatArray) -> FloatArray:
        places = np.linspace(0, len(path) - 1, round(stretch * len(path)))
        return np.stack([np.interp(places, np.arange(len(path)), column) for column in path.T], axis=1)

    return change


def noisy(metres: float) -> Callable[[FloatArray], FloatArray]:
    chance = np.random.default_rng(3)
    return lambda path: path + chance.normal(0, metres, path.shape)


def turned(degrees: float) -> Callable[[FloatArray], FloatArray]:
    """About the vertical, and a quarter as much in the direction of running."""
    return lambda path: Rotation.from_euler("YZ", [degrees, degrees / 4], degrees=True).apply(path)


COPIES: dict[str, Callable[[FloatArray], FloatArray]] = {
    "a frame cut": lambda path: path[1:],
    "start cut": lambda path: path[len(path) // 3 :],
    "a part": lambda path: path[len(path) // 4 : 3 * len(path) // 4],
    "rescaled": lambda path: 1.07 * path,
    "moved": lambda path: path + np.array([1.0, 0.0, -0.5]),
    "resampled": resampled(0.93),
    "turned by 2 degrees": turned(2.0),
    "half the frames": lambda path: path[::2],
    "noise of 2 mm": noisy(0.002),
    "all at once": lambda path: turned(1.0)(1.03 * noisy(0.002)(resampled(1.03)(path))[40:]),
}


def kept(trial: Trial) -> Kept:
    """As it is read from rows that were stored."""
    return kept_in(rows_in(shape_rows(trial, PLAIN))).get(trial.trial_id, Kept())


def known(copy: Kept, original: Kept) -> bool:
    """As it is asked for: only what lies in the same cells is compared."""
    return not copy.cells.isdisjoint(original.own_cells) and copy.is_one_with(original)


@pytest.mark.parametrize("how", COPIES)
def test_a_copy_is_known_whatever_was_done_to_it_and_so_is_what_it_was_copied_from(how: str) -> None:
    trial = wandering(1)
    rate = trial.marker_rate_hz / 2 if how == "half the frames" else trial.marker_rate_hz
    copy, original = kept(replace(changed(trial, COPIES[how]), marker_rate_hz=rate)), kept(trial)
    assert known(copy, original)
    assert known(original, copy)


@pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")
@pytest.mark.parametrize("how", COPIES)
def test_copies_of_real_runs_are_known_and_the_two_runs_are_not_taken_for_one(how: str) -> None:
    runs = {recorded.name: recorded.work.trial for recorded in (treadmill(), runway())}
    kepts = {name: kept(trial) for name, trial in runs.items()}
    for name, trial in runs.items():
        rate = trial.marker_rate_hz / 2 if how == "half the frames" else trial.marker_rate_hz
        copy = kept(replace(changed(trial, COPIES[how]), marker_rate_hz=rate))
        assert {other: known(copy, own) for other, own in kepts.items()} == {other: other == name for other in kepts}


def test_strides_of_a_real_run_are_far_from_each_other() -> None:
    if not there():
        pytest.skip("the real recordings are not on this machine")
    strides = shapes_of(treadmill().work.trial, PLAIN)
    assert len(strides) > 70
    nearest = min(apart(a, b) for a, b in combinations(strides, 2) if a.marker == b.marker)
    assert nearest > 2 * ALIKE


@tries(15)
@given(one=st.integers(0, 10_000), other=st.integers(10_001, 20_000))
def test_two_runs_that_stray_otherwise_are_two(one: int, other: int) -> None:
    assert not known(kept(wandering(one)), kept(wandering(other)))


def test_one_stride_in_common_does_not_make_two_long_runs_one() -> None:
    one, other = kept(wandering(1)), kept(wandering(2))
    assert len(one.strides) >= 6
    borrowed = replace(
        other, strides=(one.strides[1], *(s for s in other.strides if s.number != one.strides[1].number))
    )
    assert not one.is_one_with(borrowed)


def test_two_feet_are_needed_and_paths_that_are_hidden_are_left_out() -> None:
    trial = wandering(1)
    without = {n: p for n, p in trial.markers.items() if n != "second_metatarsal_head_left"}
    three = replace(trial, markers=without)
    assert known(kept(changed(three, COPIES["noise of 2 mm"])), kept(three))
    assert not kept(replace(trial, markers={n: p for n, p in without.items() if n != "calcaneus_left"})).strides
    gone = {name: np.full_like(path, np.nan) for name, path in trial.markers.items()}
    assert not kept(replace(trial, markers=gone)).own_cells
    assert not kept(changed(trial, lambda path: np.zeros_like(path))).own_cells
    assert not kept(changed(trial, lambda path: path[:20])).own_cells


def test_what_is_written_is_read_to_a_thousandth_of_a_foot() -> None:
    points = np.random.default_rng(1).normal(0, 2, SERIES * POINTS)
    points[5] = np.nan
    assert decoded(coded(points)) == pytest.approx(points, abs=0.0005, nan_ok=True)


def a_short_one(seed: int) -> Trial:
    """As much as a runway shows: a little more than one stride."""
    return changed(wandering(seed), lambda path: path[100:350])


@pytest.mark.parametrize("how", ["rescaled", "moved", "resampled", "half the frames"])
def test_of_a_short_recording_a_part_without_a_whole_stride_is_known_by_its_steps(how: str) -> None:
    trial = a_short_one(1)
    rate = trial.marker_rate_hz / 2 if how == "half the frames" else trial.marker_rate_hz
    part = replace(changed(changed(trial, lambda path: path[100:]), COPIES[how]), marker_rate_hz=rate)
    copy, original = kept(part), kept(trial)
    assert all(STEP in shape.marker for shape in copy.strides), "not one whole stride is left"
    assert len(copy.strides) < len(original.strides)
    assert known(copy, original)
    assert known(original, copy)
    assert not known(copy, kept(a_short_one(2)))


def test_steps_are_kept_of_short_recordings_only() -> None:
    assert any(STEP in shape.marker for shape in kept(a_short_one(1)).strides)
    assert not any(STEP in shape.marker for shape in kept(wandering(1)).strides)


def standing(seed: int) -> Trial:
    """Who stands still, swaying by millimetres, before cameras that shake by 0.3 mm."""
    trial, chance = a_standing_trial(), np.random.default_rng(seed)

    def sways(path: FloatArray) -> FloatArray:
        slow = np.cumsum(chance.normal(0, 0.0003, path.shape), axis=0)
        return path + slow + chance.normal(0, 0.0003, path.shape)

    return changed(trial, sways)


STANDING_COPIES: dict[str, Callable[[FloatArray], FloatArray]] = {
    **{how: COPIES[how] for how in ("a frame cut", "start cut", "a part", "rescaled", "moved")},
    "resampled by 3 %": resampled(1.03),
    "rounded to 0.1 mm": lambda path: np.round(path, 4),
    "noise of 0.1 mm": noisy(0.0001),
    "filtered once more": lambda path: np.stack([low_pass(column, 100.0, 10.0) for column in path.T], axis=1),
}


@pytest.mark.parametrize("how", STANDING_COPIES)
def test_a_copy_of_a_standing_trial_is_known(how: str) -> None:
    copy, original = kept(changed(standing(1), STANDING_COPIES[how])), kept(standing(1))
    assert copy.sway is not None
    assert known(copy, original)
    assert known(original, copy)


@pytest.mark.skipif(not there(), reason="the real recordings are not on this machine")
@pytest.mark.parametrize("how", STANDING_COPIES)
def test_copies_of_real_standing_trials_are_known_and_two_people_are_two(how: str) -> None:
    trials = [work.trial for work in still()]
    originals = [kept(trial) for trial in trials]
    for place, trial in enumerate(trials):
        rate = trial.marker_rate_hz

        def again(path: FloatArray, rate: float = rate) -> FloatArray:
            if how == "filtered once more":
                return np.stack([low_pass(column, rate, 10.0) for column in path.T], axis=1)
            return STANDING_COPIES[how](path)

        copy = kept(changed(trial, again))
        assert [copy.is_one_with(original) for original in originals] == [i == place for i in range(len(originals))]


def test_the_same_posture_held_twice_is_two_recordings() -> None:
    swaying = [sway_of(standing(seed), PLAIN) for seed in range(6)]
    found = [fits(a.series, b.series) for a, b in combinations(swaying, 2) if a is not None and b is not None]
    assert len(found) == 15
    assert max(found) < 0.8 * SWAYS_ALIKE
    assert sway_of(a_trial(), PLAIN) is None


def test_two_people_who_sway_alike_are_two() -> None:
    one = sway_of(standing(1), PLAIN)
    other = sway_of(changed(standing(1), lambda path: path + 0.01 * np.round(100 * path.mean(axis=0) % 1)), PLAIN)
    assert one is not None
    assert other is not None
    assert fits(one.series, other.series) == pytest.approx(1.0)
    assert postures_apart(one.posture, other.posture) > 0.002
    assert not are_one(one, other)


@pytest.mark.parametrize("missing", [{}, "still"])
def test_a_standing_trial_of_which_nothing_is_seen_has_no_shape(missing: object) -> None:
    trial = standing(1)
    if missing == {}:
        assert kept(replace(trial, markers={})).sway is None
    else:
        assert fits(*[np.zeros((3 * SUMS, 50))] * 2) == 0.0
        assert fits(*[np.zeros((3 * SUMS, 2 * OVER_FRAMES - 1))] * 2) == 0.0
        assert postures_apart(np.zeros((9, 3)), np.zeros((9, 3))) == float("inf")
