"""Peaks, loading rates and impulses against closed forms, a published waveform model and a real run."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.gait import force
from pipelines.science.signals.sampling import stretch
from schemas.processing import Processing
from tests.as_frames import compute_footfalls
from tests.builders import a_trial
from tests.published.force_of_the_real_run import needs_real_run, recorded_force, truth

A, B = 1000.0, 0.030  # height in N and duration in s of the rise in the closed forms


def rise(shape: str) -> tuple[np.ndarray, np.ndarray]:
    times = np.arange(0, B + 5e-5, 1e-4)
    return times, A * times / B if shape == "ramp" else A / 2 * (1 - np.cos(np.pi * times / B))


@pytest.mark.parametrize(
    ("shape", "average", "steepest"),
    [
        # raised cosine of height A in time B: slope between 20 and 80 % of TIME 1.348362 A/B (cos 0.2 pi - cos 0.8 pi
        # over 1.2), steepest pi/2 A/B; between 20 and 80 % of FORCE it would be 1.464609 A/B. Ramp: A/B throughout
        ("raised cosine", 44945.4, 52359.9),
        ("ramp", 33333.3, 33333.3),
    ],
)
def test_loading_rates_of_a_rise_with_a_closed_form(shape: str, average: float, steepest: float) -> None:
    times, values = rise(shape)
    assert force.average_loading_rate(times, values, B) == pytest.approx(average, rel=2e-4)
    assert force.instantaneous_loading_rate(times, values, B) == pytest.approx(steepest, rel=2e-4)


def two_mass(contact_s: float, aerial_s: float, dt1_s: float, dv1_m_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Vertical force in N of a 70 kg runner by the two-mass model (Clark, Ryan & Weyand 2017, J Exp Biol 220:247)."""
    mass, g = 70.0, 9.81
    times = np.linspace(0, contact_s, 24_001)
    total = mass * g * (contact_s + aerial_s)
    impact_mean = 0.08 * mass * (dv1_m_s / dt1_s + g)
    rest_mean = (total - impact_mean * 2 * dt1_s) / contact_s

    def bump(height: float, centre: float, before: float, after: float) -> np.ndarray:
        place = (times - centre) / np.where(times < centre, before, after)
        return np.where(np.abs(place) <= 1, height / 2 * (1 + np.cos(np.pi * place)), 0.0)

    centre = 0.47 * contact_s
    rest = bump(2 * rest_mean, centre, centre, contact_s - centre)
    return times, bump(2 * impact_mean, dt1_s, dt1_s, dt1_s) + rest


# inputs: contact, aerial time, time and change of speed of the lower leg at impact; known results (worked out
# independently from the model's formulas): impact peak N and ms, active peak N, average and steepest rise N/s
TWO_MASS = {
    "two peaks": ((0.24, 0.11, 0.022, 1.0), (811.10, 24.72, 1889.40, 44509, 52398)),
    "two peaks, sharp rise": ((0.235, 0.11, 0.012, 0.95), (1053.00, 12.27, 1914.49, 115782, 135103)),
}


@pytest.mark.parametrize("name", TWO_MASS)
def test_peaks_and_loading_rates_of_the_two_mass_model(name: str) -> None:
    inputs, (impact_n, impact_ms, active_n, average, steepest) = TWO_MASS[name]
    times, values = two_mass(*inputs)
    impact = force.impact_peak(times, values, 0.25, prominence=0.02 * 70 * 9.81)
    active = force.active_peak(times, values, 0.25)
    assert impact is not None
    assert active is not None
    assert impact.height == pytest.approx(impact_n, rel=1e-3)
    assert impact.time_s * 1000 == pytest.approx(impact_ms, abs=0.02)
    assert active.height == pytest.approx(active_n, rel=1e-3)
    assert force.average_loading_rate(times, values, impact.time_s) == pytest.approx(average, rel=1e-3)
    assert force.instantaneous_loading_rate(times, values, impact.time_s) == pytest.approx(steepest, rel=1e-3)
    assert force.impulse(times, values) == pytest.approx(70 * 9.81 * (inputs[0] + inputs[1]), rel=1e-3)


def test_a_slow_two_mass_rise_has_one_peak_only() -> None:
    times, values = two_mass(0.225, 0.12, 0.04, 1.05)
    active = force.active_peak(times, values, 0.25)
    assert force.impact_peak(times, values, 0.25, prominence=0.02 * 70 * 9.81) is None
    assert active is not None
    assert active.height == pytest.approx(1962.28, rel=1e-3)


def test_impulses_carry_body_weight_over_whole_steps() -> None:
    # Newton: over whole steady strides the sum of step impulses is m g T; in body weights, T
    steady = compute_footfalls(a_trial(), Processing(), None).dropna(subset="stride_time_s")
    assert steady["vertical_impulse_bw_s"].sum() == pytest.approx(steady["step_time_s"].sum(), rel=0.001)


def test_a_half_sine_peaks_at_half_pi_times_step_over_contact() -> None:
    # Morin et al. 2005: peak / m g = (pi / 2) (flight / contact + 1)
    trial = a_trial(contact_s=0.24, flight_s=0.12)
    assert compute_footfalls(trial, Processing(), None)["active_peak_bw"][0] == pytest.approx(2.35619, rel=1e-4)


@needs_real_run
@pytest.mark.parametrize("number", [0, 1])
def test_peaks_and_impulses_of_the_real_run(number: int) -> None:
    known = truth()["contacts"][number]
    recorded = recorded_force(known["side"])
    times, values = stretch(recorded[:, [1, 2]], 300.0, known["contact_start_s"], known["contact_end_s"])
    since, (fore_aft, vertical) = times - times[0], values.T
    assert force.impulse(since, vertical) == pytest.approx(known["vertical_impulse_Ns"], rel=1e-5)
    assert force.impulse(since, vertical) / since[-1] == pytest.approx(
        known["mean_vertical_force_in_contact_N"], rel=1e-5
    )
    # the known fore-aft impulse is over the whole record; what lies outside the crossings of 20 N is small
    whole = force.impulse(recorded[:, 0], recorded[:, 1])
    assert whole == pytest.approx(known["anteroposterior_impulse_Ns"], abs=1e-4)
    assert force.impulse(since, fore_aft) == pytest.approx(known["anteroposterior_impulse_Ns"], abs=0.05)
    assert force.braking_peak(fore_aft) == pytest.approx(known["braking_peak_N"], abs=1e-3)
    assert force.propulsive_peak(fore_aft) == pytest.approx(known["propulsive_peak_N"], abs=1e-3)
    active = force.active_peak(since, vertical, 0.25)
    assert active is not None
    assert active.height == pytest.approx(known["peak_vertical_force_N"], abs=1e-3)
    assert times[0] + active.time_s == pytest.approx(known["peak_time_s"], abs=1e-6)


@needs_real_run
def test_only_the_left_foot_of_the_real_run_has_an_early_maximum_and_it_comes_too_late_for_an_impact() -> None:
    for known in truth()["contacts"]:
        recorded = recorded_force(known["side"])
        times, vertical = stretch(recorded[:, 2], 300.0, known["contact_start_s"], known["contact_end_s"])
        since, prominence = times - times[0], 0.02 * 72.84 * 9.80665
        assert force.impact_peak(since, vertical, 0.25, prominence) is None  # it is a footfall on the forefoot
        impact = force.impact_peak(since, vertical, 0.25, prominence, latest_s=0.1)
        found = None if impact is None else (impact.height, times[0] + impact.time_s)
        if known["first_peak_N"] is None:
            assert found is None
        else:
            assert found == pytest.approx((known["first_peak_N"], known["first_peak_time_s"]), abs=1e-3)
