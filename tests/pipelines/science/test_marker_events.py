from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.events.from_markers import marker_contacts, marker_touches
from schemas.processing import Processing
from tests.builders import a_standing_trial, a_trial
from tests.tries import tries

PLAIN = Processing()


def a_foot(
    rate: float = 200.0,
    *,
    contact_s: float = 0.25,
    stride_s: float = 0.7,
    strides: int = 6,
    belt: float = 3.0,
    heel_first_s: float = 0.03,
    first_s: float = 0.4,
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Markers of a right foot that lands heel first at known times: each marker falls at 1 m/s and is stopped.

    The metatarsal markers land ``heel_first_s`` later than the heel (earlier if negative). All leave at the end of
    contact; while on the ground the foot moves back with the belt. Returns the markers and the true contact times.
    """
    starts = first_s + stride_s * np.arange(strides)
    times = np.arange(round((starts[-1] + stride_s) * rate)) / rate
    landing = {"calcaneus": 0.0, "second_metatarsal_head": heel_first_s, "fifth_metatarsal_head": heel_first_s}
    markers = {}
    for role, late in landing.items():
        up, speed = np.full(len(times), 0.2), np.full(len(times), 0.0)
        late -= min(0.0, heel_first_s)
        for start in starts:
            down = start + late
            since, left = times - down, times - (start + contact_s)
            up = np.where((since > -0.15) & (since <= 0), -since * 1.0 + 0.0, up)
            up = np.where((since > 0) & (left <= 0), 0.0, up)
            rising = (left > 0) & (left < 0.25)
            up = np.where(rising, np.minimum(0.2, 12 * np.maximum(left, 0) ** 2), up)
            speed = np.where((since > -0.02) & (left <= 0), -belt, speed)
        swing = speed == 0
        speed[swing] = belt * (~swing).sum() / max(1, swing.sum()) * 1.0
        path = np.zeros((len(times), 3))
        path[:, 0], path[:, 1], path[:, 2] = np.cumsum(speed) / rate, up + 0.04, 0.1
        markers[f"{role}_right"] = path
    return markers, starts


@tries(15)
@given(st.floats(0.20, 0.32), st.floats(0.64, 0.8), st.floats(-0.04, 0.04), st.sampled_from([150.0, 200.0, 250.0]))
def test_contact_is_where_the_first_marker_of_the_foot_is_stopped(
    contact: float, stride: float, heel_first: float, rate: float
) -> None:
    markers, starts = a_foot(rate, contact_s=contact, stride_s=stride, heel_first_s=heel_first)
    found = marker_contacts(markers, rate, PLAIN)
    assert [side for side, _ in found] == ["right"] * len(starts)
    # one frame, and a margin for the filter: the stop is sharp, which no real foot is
    assert [c.start_s for _, c in found] == pytest.approx(starts.tolist(), abs=1 / rate + 0.004)


def test_the_speed_of_the_ground_does_not_matter() -> None:
    times = {}
    for surface in ("treadmill", "runway"):
        found = marker_contacts(a_trial(surface=surface).markers, 200.0, PLAIN)
        times[surface] = [c.start_s for _, c in found if c.start_s > 0.5]
    assert times["treadmill"][-5:] == pytest.approx(times["runway"][-5:], abs=0.002)


@tries(10)
@given(st.integers(0, 2**32 - 1))
def test_marker_noise_of_half_a_millimetre_moves_contact_by_less_than_two_frames(seed: int) -> None:
    markers, starts = a_foot()
    rng = np.random.default_rng(seed)
    noisy = {role: path + rng.normal(0, 0.0005, path.shape) for role, path in markers.items()}
    found = marker_contacts(noisy, 200.0, PLAIN)
    assert [c.start_s for _, c in found] == pytest.approx(starts.tolist(), abs=2 / 200)


def test_two_metatarsal_labels_that_change_places_do_not_matter_for_contact() -> None:
    markers, _ = a_foot()
    swapped = {role: path.copy() for role, path in markers.items()}
    a, b = "second_metatarsal_head_right", "fifth_metatarsal_head_right"
    swapped[b][:, 0] -= 0.03
    original = {role: path.copy() for role, path in swapped.items()}
    swapped[a][::3], swapped[b][::3] = original[b][::3], original[a][::3]
    one, other = (marker_contacts(m, 200.0, PLAIN) for m in (original, swapped))
    assert [c.start_s for _, c in one] == pytest.approx([c.start_s for _, c in other], abs=1e-6)
    assert len(one) == 6


def test_a_gap_costs_the_contact_it_hides_and_no_other() -> None:
    markers, starts = a_foot()
    middle = round((starts[2] + 0.05) * 200)
    for path in markers.values():
        path[middle - 20 : middle + 20] = np.nan
    found = [c for _, c in marker_contacts(markers, 200.0, PLAIN)]
    assert [c.start_s for c in found] == pytest.approx(np.delete(starts, 2).tolist(), abs=0.01)
    assert [c.after_gap for c in found] == [False, False, True, False, False]


def test_a_record_that_starts_or_ends_on_the_ground_gives_no_half_contacts() -> None:
    markers, starts = a_foot()
    first, last = round((starts[1] + 0.1) * 200), round((starts[4] + 0.1) * 200)
    cut = {role: path[first:last] for role, path in markers.items()}
    found = [c.start_s + first / 200 for _, c in marker_contacts(cut, 200.0, PLAIN)]
    assert found == pytest.approx(starts[2:4].tolist(), abs=0.01)


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_a_foot_that_stands_still_shows_no_contact(seed: int | None) -> None:
    markers = a_standing_trial().markers
    if seed is not None:
        rng = np.random.default_rng(seed)
        markers = {role: path + rng.normal(0, 0.001, path.shape) for role, path in markers.items()}
    assert marker_contacts(markers, 200.0, PLAIN) == []


def test_feet_without_markers_or_with_nothing_in_them_give_no_contact_and_no_error() -> None:
    markers, _ = a_foot()
    heel = {"calcaneus_right": markers["calcaneus_right"]}
    empty = {role: path[:0] for role, path in markers.items()}
    hidden = {role: path * np.nan for role, path in markers.items()}
    for bad in ({}, heel, empty, hidden, {role: path[:3] for role, path in markers.items()}):
        assert marker_contacts(bad, 200.0, PLAIN) == []
    assert marker_contacts(markers, 0.0, PLAIN) == []


@tries(15)
@given(st.floats(0.06, 0.3), st.floats(-0.04, 0.04), st.sampled_from([150.0, 200.0, 250.0]))
def test_a_touch_is_told_though_the_record_ends_before_the_foot_leaves(
    held_s: float, heel_first: float, rate: float
) -> None:
    markers, starts = a_foot(rate, contact_s=0.32, heel_first_s=heel_first)
    until = round((starts[-1] + held_s) * rate)
    cut = {role: path[:until] for role, path in markers.items()}
    assert len(marker_contacts(cut, rate, PLAIN)) == len(starts) - 1
    touches = marker_touches(cut, rate, PLAIN)["right"]
    assert touches == pytest.approx(starts, abs=0.02)
    assert marker_touches(markers, rate, PLAIN)["right"] == pytest.approx(
        [contact.start_s for _, contact in marker_contacts(markers, rate, PLAIN)]
    )
