"""The shape of a trial stays when it is resampled and rescaled, and is no other trial's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.shapes import ALIKE, Pile, alike, likeness, shape_of, shapes_in, shapes_of
from schemas.processing import Processing
from schemas.trial import FloatArray
from tests.builders import a_standing_trial, a_trial
from tests.tries import tries


def wandering(seed: int, frames: int = 500) -> FloatArray:
    """A path with bends of many lengths, as of a foot that never comes by twice in the same way."""
    rng, time = np.random.default_rng(seed), np.linspace(0.0, 1.0, frames)
    waves = [rng.normal() * np.sin(2 * np.pi * (cycles * time + rng.random())) / cycles for cycles in range(1, 12)]
    return np.asarray(0.1 * np.sum(waves, axis=0))


def resampled(path: FloatArray, stretch: float) -> FloatArray:
    places = np.linspace(0, len(path) - 1, round(stretch * len(path)))
    return np.interp(places, np.arange(len(path)), path)


@tries(60)
@given(seed=st.integers(0, 10_000), stretch=st.floats(0.5, 2.0), scale=st.floats(0.2, 5.0), up=st.floats(-2, 2))
def test_a_resampled_and_rescaled_path_keeps_its_shape(seed: int, stretch: float, scale: float, up: float) -> None:
    path = wandering(seed)
    one, other = shape_of(path), shape_of(scale * resampled(path, stretch) + up)
    assert one is not None
    assert other is not None
    assert likeness(one, other) >= ALIKE


@tries(60)
@given(seed=st.integers(0, 10_000), other=st.integers(10_001, 20_000))
def test_two_different_paths_are_not_alike(seed: int, other: int) -> None:
    one, two = shape_of(wandering(seed)), shape_of(wandering(other))
    assert one is not None
    assert two is not None
    assert likeness(one, two) < 0.99


def test_a_frame_cut_off_and_noise_do_not_hide_a_copy() -> None:
    path = wandering(1)
    noisy = resampled(path, 1.03)[1:] + np.random.default_rng(0).normal(0, 0.0003, 514)
    one, other = shape_of(path), shape_of(noisy)
    assert one is not None
    assert other is not None
    assert likeness(one, other) >= ALIKE


@pytest.mark.parametrize(
    "path", [np.full(500, np.nan), np.zeros(500), wandering(1)[:20]], ids=["nan", "still", "short"]
)
def test_what_is_not_seen_or_does_not_move_has_no_shape(path: FloatArray) -> None:
    assert shape_of(path) is None


def test_two_markers_are_too_few_to_call_two_trials_one() -> None:
    shapes = {f"marker_{i}": shape for i in range(4) if (shape := shape_of(wandering(i))) is not None}
    assert alike(shapes, dict(shapes))
    assert not alike({m: shapes[m] for m in ("marker_0", "marker_1")}, shapes)
    assert not alike(shapes, {**shapes, "marker_3": -shapes["marker_3"]})


def test_looking_at_a_whole_pile_at_once_leaves_out_none_that_is_alike() -> None:
    one = {f"marker_{i}": shape for i in range(4) if (shape := shape_of(wandering(i))) is not None}
    others = [
        one,
        {**one, "marker_3": -one["marker_3"]},
        {m: one[m] for m in ("marker_0", "marker_1", "marker_2")},
        {m: one[m] for m in ("marker_0", "marker_1")},
        {f"other_{m}": shape for m, shape in one.items()},
        {},
    ]
    found = Pile(others).worth_a_look(one)
    assert found == [0, 2]
    assert found == [i for i, other in enumerate(others) if alike(one, other)]
    assert Pile([]).worth_a_look(one) == []


def test_a_running_trial_has_four_shapes_and_a_standing_one_none() -> None:
    rows = shapes_of(a_trial(), Processing())
    (shapes,) = shapes_in(rows.frame()).values()
    assert len(shapes) == 4
    assert not len(shapes_of(a_standing_trial(), Processing()))
    assert not len(shapes_of(replace(a_trial(), markers={}), Processing()))
