"""The helpers that checks share, against what must come out of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.signals import measures as signals
from schemas import mechanics
from tests.builders import a_plate, a_trial

SQUARE = np.array([[1.0, 0, -1], [1, 0, 1], [-1, 0, 1], [-1, 0, -1]])


@pytest.mark.parametrize("corners", [SQUARE, SQUARE[::-1]], ids=["one way round", "the other"])
def test_distance_outside_is_measured_from_the_nearest_crossed_edge(corners: np.ndarray) -> None:
    points = np.array([[0.0, 0.0], [0.0, 1.5], [-1.25, 0.0], [1.0, 1.0]])
    assert signals.distance_outside(corners, points) == pytest.approx([-1.0, 0.5, 0.25, 0.0])


@pytest.mark.parametrize("corners", [np.zeros((4, 3)), np.full((4, 3), np.nan)])
def test_corners_that_enclose_nothing_give_no_distance(corners: np.ndarray) -> None:
    assert np.isnan(signals.distance_outside(corners, np.zeros((3, 2)))).all()


@given(
    st.floats(100, 3000),
    st.floats(-500, 500),
    st.floats(-500, 500),
    st.floats(-2, 2),
    st.floats(-2, 2),
    st.floats(-0.2, 0.5),
)
def test_the_centre_of_pressure_is_where_the_force_was_applied(
    up: float, forward: float, right: float, x: float, z: float, height: float
) -> None:
    force, point = np.array([[forward, up, right]]), np.array([[x, height, z]])
    plate = a_plate(1, force, point, (0.0, 0.0))
    plate.corners[:, 1] = height
    assert signals.centre_of_pressure(plate)[0] == pytest.approx([x, z], abs=1e-9)


@given(st.lists(st.booleans(), max_size=40))
def test_runs_cover_every_true_and_nothing_else(mask: list[bool]) -> None:
    covered = np.zeros(len(mask), bool)
    for a, b in mechanics.runs(np.array(mask, bool)):
        assert a < b
        covered[a:b] = True
    assert covered.tolist() == mask


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("offset", [-80.0, 0.0, 300.0])
def test_unloaded_spells_lie_in_the_flights_whatever_the_offset_and_the_sign(sign: int, offset: float) -> None:
    force = a_trial(footfalls=3).force[:, 1]
    spells = signals.unloaded_spells(sign * force + (offset if sign > 0 else 0.0), 1000.0, 0.015)
    assert len(spells) == 4  # before, two flights, after
    assert all((force[a:b] == 0).all() for a, b in spells)


def test_a_standing_plate_reading_has_no_top() -> None:
    assert signals.flat_tops(np.full(100, 5.0), 4) == []
    assert signals.flat_tops(np.full(100, np.nan), 4) == []


def test_a_cut_too_small_to_matter_is_no_flat_top() -> None:
    peak = 1500 * np.sin(np.linspace(0, np.pi, 250))
    assert signals.flat_tops(np.minimum(peak, 1499), 4) == []
    assert signals.flat_tops(np.minimum(peak, 1400), 4) != []


@given(
    power=st.floats(2, 6),
    samples=st.integers(20, 400),
    counts=st.floats(30, 5000),
    middle=st.floats(0.3, 0.7),
)
def test_a_peak_that_was_only_rounded_has_no_flat_top(power: float, samples: int, counts: float, middle: float) -> None:
    """Rounded to whole counts; rising and falling at different rates."""
    time = np.linspace(0, 1, samples)
    from_middle = np.where(time < middle, (middle - time) / middle, (time - middle) / (1 - middle))
    peak = np.round(counts * (1 - from_middle**power))
    assert signals.flat_tops(np.concatenate([np.zeros(30), peak, np.zeros(30)]), 4) == []


@given(samples=st.integers(60, 400), counts=st.floats(300, 30000), share=st.floats(0.3, 0.94))
def test_a_peak_of_a_contact_that_was_cut_off_is_found_where_it_was(samples: int, counts: float, share: float) -> None:
    peak = np.round(counts * np.sin(np.linspace(0, np.pi, samples)))
    limit = np.round(share * counts)
    rest = np.arange(30) % 2  # noise of one count, which tells how large a count is
    cut = np.concatenate([rest, np.minimum(peak, limit), rest])
    (first,) = signals.flat_tops(cut, 4)
    assert (cut[slice(*first)] == limit).all()
    assert first[1] - first[0] == (cut == limit).sum()
