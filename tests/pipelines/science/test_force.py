from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.gait import force, stiffness
from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from tests.builders import a_trial, with_force

T = np.linspace(0, 0.25, 251)
HUMP = 2.5 * np.sin(np.pi * T / 0.25)


def with_bump(height: float, at_s: float, width_s: float = 0.012) -> np.ndarray:
    return HUMP + height * np.exp(-(((T - at_s) / width_s) ** 2))


def outcomes(values: np.ndarray, **settings: float) -> dict:
    both = np.stack([-0.3 * np.sin(2 * np.pi * T / T[-1]) * values.max(), values], axis=1)
    return force.force_outcomes(
        T, both, both, 700.0,
        **{"impact_window_fraction": 0.25, "impact_prominence_bw": 0.02, "loading_fraction": 0.13} | settings,
    )  # fmt: skip


def test_an_impact_peak_is_a_hump_of_its_own_before_the_active_peak() -> None:
    impact = force.impact_peak(T, with_bump(1.2, 0.03), 0.25, 0.02)
    assert impact is not None
    assert impact.time_s == pytest.approx(0.03, abs=0.003)


def test_a_single_hump_has_no_impact_peak() -> None:
    assert force.impact_peak(T, HUMP, 0.25, 0.02) is None


@pytest.mark.parametrize("prominence", [0.0, 0.02])
def test_a_single_hump_that_peaks_early_is_not_its_own_impact_peak(prominence: float) -> None:
    early = np.where(T < 0.05, np.sin(np.pi * T / 0.1), np.cos(np.pi * (T - 0.05) / 0.4))
    assert force.impact_peak(T, early, 0.25, prominence) is None


def test_after_an_early_high_peak_a_ripple_is_not_an_active_peak_that_makes_it_an_impact() -> None:
    early = np.interp(T, [0, 0.05, 0.063, 0.066, 0.25], [0.0, 2.0, 1.90, 1.91, 0.0])
    assert force.impact_peak(T, early, 0.25, 0.02) is None
    assert force.impact_peak(T, early, 0.25, 0.005) is not None


def test_a_bump_less_prominent_than_declared_is_not_an_impact_peak() -> None:
    bump = with_bump(0.75, 0.04, 0.010)
    prominence = next(p for p in np.arange(0.001, 1, 0.001) if force.impact_peak(T, bump, 0.25, p) is None)
    assert 0.01 < prominence < 0.5
    assert force.impact_peak(T, bump, 0.25, prominence - 0.001) is not None


def test_a_bump_after_the_early_part_of_contact_is_not_an_impact_peak() -> None:
    assert force.impact_peak(T, with_bump(1.0, 0.07), 0.25, 0.02) is None
    assert force.impact_peak(T, with_bump(1.0, 0.07), 0.40, 0.02, latest_s=0.1) is not None


def test_an_impact_peak_higher_than_the_active_peak_is_still_the_impact_peak() -> None:
    values = with_bump(3.0, 0.03)
    impact, active = force.impact_peak(T, values, 0.25, 0.02), force.active_peak(T, values, 0.25)
    assert impact is not None
    assert active is not None
    assert impact.height > active.height == pytest.approx(2.5, abs=0.01)


def test_loading_ends_at_the_same_part_of_contact_with_an_impact_peak_and_without() -> None:
    bumpy = with_bump(1.2, 0.03)
    with_peak, without = outcomes(bumpy * 700), outcomes(HUMP * 700)
    a, b = 0.2 * 0.13 * 0.25, 0.8 * 0.13 * 0.25
    # slope of the half-sine, and of the half-sine with its bump, between 20 and 80 % of 13 % of contact
    slope = 2.5 * (np.sin(np.pi * b / 0.25) - np.sin(np.pi * a / 0.25)) / (b - a)
    bump = 1.2 * (np.exp(-(((b - 0.03) / 0.012) ** 2)) - np.exp(-(((a - 0.03) / 0.012) ** 2))) / (b - a)
    assert without["average_loading_rate_bw_per_s"] == pytest.approx(slope, rel=1e-4)
    assert with_peak["average_loading_rate_bw_per_s"] == pytest.approx(slope + bump, rel=1e-3)
    assert without["impact_peak_bw"] is without["loading_rate_to_peak_bw_per_s"] is None
    peak_s = with_peak["impact_peak_time_s"]
    low, high = np.interp([0.2 * peak_s, 0.8 * peak_s], T, bumpy)
    assert with_peak["loading_rate_to_peak_bw_per_s"] == pytest.approx((high - low) / (0.6 * peak_s), rel=1e-6)


def test_what_the_filter_took_off_is_in_no_peak_and_in_no_loading_rate() -> None:
    """Impulses and means are those of the unfiltered force."""
    filtered = 700 * np.stack([-0.3 * np.sin(2 * np.pi * T / T[-1]), with_bump(1.2, 0.03)], axis=1)
    hum = 40 * np.sin(2 * np.pi * 97 * T)[:, None]
    settings = {"impact_window_fraction": 0.25, "impact_prominence_bw": 0.02, "loading_fraction": 0.13}
    plain = force.force_outcomes(T, filtered, filtered, 700.0, **settings)
    humming = force.force_outcomes(T, filtered + hum, filtered, 700.0, **settings)
    same = {name for name, value in plain.items() if humming[name] == value}
    assert plain["loading_rate_to_peak_bw_per_s"] is not None
    assert same == {name for name in plain if "peak" in name or "rate" in name}


def test_the_part_of_contact_is_the_study_files() -> None:
    earlier = outcomes(HUMP * 700, loading_fraction=0.06)
    assert earlier["average_loading_rate_bw_per_s"] > outcomes(HUMP * 700)["average_loading_rate_bw_per_s"]


def test_what_is_steep_outside_the_span_does_not_make_the_rate_of_loading() -> None:
    # 0.1 s to the end of loading: slope 100 in the first and the last part, 10 between, 500 after it
    times = np.arange(0, 0.1501, 0.001)
    values = np.interp(times, [0, 0.018, 0.083, 0.1, 0.15], [0, 1.8, 2.45, 4.15, 29.15])
    assert force.instantaneous_loading_rate(times, values, 0.1) == pytest.approx(10)
    assert force.average_loading_rate(times, values, 0.1) == pytest.approx(10)


@given(st.floats(0, 2), st.floats(0.01, 0.05), st.floats(0.004, 0.02))
def test_the_steepest_slope_is_never_below_the_average_one(height: float, at_s: float, width_s: float) -> None:
    found = outcomes(with_bump(height, at_s, width_s) * 700)
    assert found["instantaneous_loading_rate_bw_per_s"] >= found["average_loading_rate_bw_per_s"] - 1e-9


@given(st.lists(st.floats(-3, 3), min_size=2, max_size=30))
def test_braking_and_propulsion_add_up_to_the_whole(values: list[float]) -> None:
    times, fore_aft = np.arange(len(values)) / 100, np.array(values)
    braking, propulsion = force.braking_impulse(times, fore_aft), force.propulsive_impulse(times, fore_aft)
    assert braking <= 0 <= propulsion
    assert braking + propulsion == pytest.approx(force.impulse(times, fore_aft), abs=1e-9)


def test_force_in_one_direction_only_has_no_peak_in_the_other() -> None:
    assert force.braking_peak(np.array([0.0, 0.1])) is None
    assert force.propulsive_peak(np.array([0.0, -0.1])) is None


def test_a_contact_of_two_samples_has_times_and_impulse_but_no_peaks() -> None:
    times, both = np.array([0.0, 0.001]), np.array([[0.0, 20.0], [0.0, 20.0]])
    found = force.force_outcomes(
        times, both, both, 700.0, impact_window_fraction=0.25, impact_prominence_bw=0.02, loading_fraction=0.13
    )
    assert found["active_peak_bw"] is None
    assert found["mean_vertical_force_bw"] == pytest.approx(20 / 700)


def test_stiffness_is_null_where_what_it_needs_is_missing() -> None:
    assert stiffness.vertical_stiffness(70, 0.25, None) is None
    assert stiffness.leg_stiffness(70, 0.25, None, 0.9, 3.0) is None
    assert stiffness.leg_stiffness(70, 0.25, 0.1, None, 3.0) is None
    assert stiffness.leg_stiffness(70, 0.25, 0.1, 0.9, None) is None
    assert stiffness.leg_stiffness(70, 0.25, 0.1, 0.9, 8.0) is None  # the foot would travel 2 m under a 0.9 m leg


@given(st.floats(40, 120), st.floats(0.15, 0.35), st.floats(0.02, 0.2), st.floats(1.5, 4.5))
def test_the_leg_is_softer_than_the_vertical_spring(mass: float, contact: float, flight: float, speed: float) -> None:
    leg, vertical = (
        stiffness.leg_stiffness(mass, contact, flight, 0.9, speed),
        stiffness.vertical_stiffness(mass, contact, flight),
    )
    assert leg is not None
    assert vertical is not None
    assert 0 < leg < vertical


def test_a_late_maximum_of_a_forefoot_contact_is_no_impact_peak() -> None:
    long = np.linspace(0, 0.30, 301)
    soft = 2.3 * np.sin(np.pi * long / 0.30) + 0.9 * np.exp(-(((long - 0.055) / 0.015) ** 2))
    late = force.impact_peak(long, soft, 0.25, 0.02, latest_s=0.1)
    assert late is not None
    assert 0.05 < late.time_s < 0.25 * 0.30
    assert force.impact_peak(long, soft, 0.25, 0.02) is None


@pytest.mark.parametrize("shakes_n", [0.0, 25.0])
def test_a_plate_that_vibrates_makes_no_impact_peaks(shakes_n: float) -> None:
    """Forefoot contacts, one hump each, on a plate that vibrates at 70 Hz while the filter lets 100 Hz through."""
    trial = a_trial(strike_deg=-8.0)
    vertical = trial.plates[0].force[:, 1]
    wave = shakes_n * np.sin(2 * np.pi * 70 * np.arange(len(vertical)) / (trial.analog_rate_hz or 0))
    shaken = with_force(trial, lambda force: force + np.stack([0 * wave, wave, 0 * wave], axis=1))
    settings = Processing(force_cutoff_hz=100, event_cutoff_hz=30, contact_threshold_n=40)
    work = Workspace(shaken, settings)
    rows = work.footfalls
    assert len(rows) >= 6
    assert work.signals.shaken_n == pytest.approx(shakes_n / 2**0.5, rel=0.35, abs=1.5)
    assert np.isfinite(rows.numbers("impact_peak_bw")).sum() == 0
