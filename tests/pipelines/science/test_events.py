from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.events.from_force import Contact, find_contacts, sides_of

LIMITS = {"threshold_n": 20.0, "shortest_contact_s": 0.08, "shortest_flight_s": 0.02}


def humps(*spans: tuple[float, float], rate: float = 1000.0, length_s: float = 2.0) -> np.ndarray:
    """Half-sines of 1500 N over these spans in s, zero elsewhere."""
    t = np.arange(round(length_s * rate)) / rate
    force = np.zeros(len(t))
    for start, end in spans:
        on = (t > start) & (t < end)
        force[on] += 1500 * np.sin(np.pi * (t[on] - start) / (end - start))
    return force


def spans(force: np.ndarray, rate: float = 1000.0, **limits: float) -> list[tuple[float, float]]:
    return [(c.start_s, c.end_s) for c in find_contacts(force, rate, **(LIMITS | limits))]


def test_crossings_lie_between_samples_on_the_straight_line_that_joins_them() -> None:
    force = np.array([0, 10, 30, 100, 100, 25, 5, 0.0])
    (contact,) = find_contacts(force, 10, threshold_n=20)
    assert contact == Contact(pytest.approx(0.15), pytest.approx(0.525), 2, 5, after_gap=False)


def test_a_contact_that_is_still_going_at_the_end_is_not_counted() -> None:
    assert len(spans(humps((0.1, 0.35), (0.45, 0.7))[:600])) == 1


def test_a_contact_that_has_begun_before_the_start_is_not_counted() -> None:
    assert len(spans(humps((0.1, 0.35), (0.45, 0.7))[200:])) == 1


def test_standing_all_the_time_is_no_contact() -> None:
    assert spans(np.full(500, 700.0)) == []


@pytest.mark.parametrize("force", [np.empty(0), np.array([700.0]), np.full(50, np.nan), np.full(50, np.inf)])
def test_a_record_without_a_signal_has_no_contacts(force: np.ndarray) -> None:
    assert spans(force) == []


def test_a_contact_shorter_than_the_shortest_is_noise() -> None:
    assert len(spans(humps((0.1, 0.18), (0.4, 0.65)))) == 1
    assert len(spans(humps((0.1, 0.18), (0.4, 0.65)), shortest_contact_s=0.07)) == 2


def test_an_interruption_shorter_than_the_shortest_flight_does_not_end_a_contact() -> None:
    force = humps((0.1, 0.35))
    force[200:210] = 0.0
    assert spans(force) == spans(humps((0.1, 0.35)))
    assert len(spans(force, shortest_flight_s=0.005)) == 2


def test_chatter_about_the_threshold_at_toe_off_is_one_contact() -> None:
    force = humps((0.1, 0.35))
    force[350:360:2] = 22.0
    ((_, end),) = spans(force)
    assert end == pytest.approx(0.358, abs=0.001)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_contact_in_which_force_is_missing_is_not_counted_and_the_next_one_knows(bad: float) -> None:
    force = humps((0.1, 0.35), (0.45, 0.7), (0.8, 1.05))
    force[500] = bad
    first, last = find_contacts(force, 1000, **LIMITS)
    assert (round(first.start_s, 1), round(last.start_s, 1)) == (0.1, 0.8)
    assert (first.after_gap, last.after_gap) == (False, True)


def test_force_missing_in_flight_leaves_both_contacts_but_no_step_between() -> None:
    force = humps((0.1, 0.35), (0.45, 0.7))
    force[400] = np.nan
    assert [c.after_gap for c in find_contacts(force, 1000, **LIMITS)] == [False, True]


@given(st.integers(0, 2**32 - 1), st.floats(0, 19.9))
def test_noise_below_the_threshold_adds_no_contacts(seed: int, size: float) -> None:
    force = humps((0.1, 0.35), (0.45, 0.7), (0.8, 1.05), (1.15, 1.4))
    noise = np.random.default_rng(seed).uniform(-size, size, len(force))
    noisy = spans(force + noise)
    assert len(noisy) == 4
    assert np.array(noisy) == pytest.approx(np.array(spans(force)), abs=0.004)


@given(st.integers(1, 500))
def test_a_shift_in_time_shifts_the_events_and_nothing_else(samples: int) -> None:
    force = humps((0.1, 0.35), (0.45, 0.7))
    later = spans(np.concatenate([np.zeros(samples), force]))
    assert np.array(later) == pytest.approx(np.array(spans(force)) + samples / 1000)


@given(st.floats(0.1, 0.3), st.floats(0.03, 0.2), st.sampled_from([300.0, 1000.0, 2000.0]))
def test_contact_and_flight_fill_the_time_between_two_contacts(contact_s: float, flight_s: float, rate: float) -> None:
    first = (0.1, 0.1 + contact_s)
    second = (first[1] + flight_s, first[1] + flight_s + contact_s)
    found = spans(humps(first, second, rate=rate), rate)
    late = contact_s * np.arcsin(20 / 1500) / np.pi  # when a half-sine of 1500 N passes 20 N
    assert np.array(found) == pytest.approx(np.array([first, second]) + np.array([late, -late]), abs=0.5 / rate)


# one contact from 0.1 to 0.2 s, centre of pressure under a foot that stands 5 cm to the right
CONTACT = Contact(0.1, 0.2, 100, 199)
COP = np.tile([0.1, 0.0, 0.05], (300, 1))
STANCE = (np.tile([0.0, 0.04, 0.05], (60, 1)), np.tile([0.18, 0.04, 0.05], (60, 1)))
BESIDE = tuple(path + np.array([0.0, 0.25, -0.1]) for path in STANCE)  # swinging by, 25 cm up
HIDDEN = tuple(path * np.nan for path in STANCE)


@pytest.mark.parametrize("stance_side", ["left", "right"])
@pytest.mark.parametrize("cop", [COP, np.full_like(COP, np.nan)], ids=["with a centre of pressure", "without one"])
def test_the_foot_under_load_is_told_by_the_centre_of_pressure_or_by_being_lower(
    stance_side: str, cop: np.ndarray
) -> None:
    other = {"left": "right", "right": "left"}[stance_side]
    assert sides_of([CONTACT], cop, 1000, {stance_side: STANCE, other: BESIDE}, 200) == [stance_side]


def test_a_low_foot_far_from_the_centre_of_pressure_is_not_the_one() -> None:
    dragging = tuple(path + np.array([-0.6, -0.03, -0.1]) for path in STANCE)
    assert sides_of([CONTACT], COP, 1000, {"right": STANCE, "left": dragging}, 200) == ["right"]


@pytest.mark.parametrize(("feet", "side"), [({"right": STANCE}, "right"), ({"left": BESIDE}, "right")])
def test_one_marked_foot_is_enough_with_a_centre_of_pressure(feet: dict, side: str) -> None:
    assert sides_of([CONTACT], COP, 1000, feet, 200) == [side]


@pytest.mark.parametrize(
    "feet",
    [{}, {"left": HIDDEN, "right": HIDDEN}, {"left": STANCE, "right": STANCE}],
    ids=["no markers", "hidden", "same"],
)
def test_a_side_that_cannot_be_known_is_none(feet: dict) -> None:
    assert sides_of([CONTACT], COP, 1000, feet, 200) == [None]


def test_one_marked_foot_without_a_centre_of_pressure_tells_nothing() -> None:
    assert sides_of([CONTACT], np.full_like(COP, np.nan), 1000, {"right": STANCE}, 200) == [None]


def test_one_marker_a_foot_is_told_by_the_centre_of_pressure_too() -> None:
    dragging = (STANCE[0] + np.array([-0.6, -0.03, -0.1]),) * 2
    assert sides_of([CONTACT], COP, 1000, {"right": (STANCE[0],) * 2, "left": dragging}, 200) == ["right"]


def test_a_hidden_foot_is_told_by_the_other() -> None:
    assert sides_of([CONTACT], COP, 1000, {"right": HIDDEN, "left": BESIDE}, 200) == ["right"]
