"""Rise and fall by force against closed forms of the spring-mass model; effective mass against bodies that stop."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.gait import bounce, stiffness
from pipelines.science.signals.filters import low_pass
from pipelines.science.workspace import Workspace
from schemas.mechanics import STANDARD_GRAVITY
from schemas.processing import Processing
from tests.as_frames import compute_footfalls
from tests.builders import a_posture, a_trial, with_force
from tests.tries import tries

G = STANDARD_GRAVITY
CONTACT_S, FLIGHT_S, MASS = 0.240, 0.120, 70.0


def half_sines(scale: float = 1.0, rate: float = 5000.0) -> tuple[np.ndarray, np.ndarray]:
    """A stride of two steps of the model of Morin et al. 2005, from contact to contact."""
    step = CONTACT_S + FLIGHT_S
    times = np.arange(round(2 * step * rate) + 1) / rate
    since = np.mod(times, step)
    peak = stiffness.peak_force(MASS, CONTACT_S, FLIGHT_S)
    return times, scale * np.where(since < CONTACT_S, peak * np.sin(np.pi * since / CONTACT_S), 0.0)


@pytest.mark.parametrize("scale", [1.0, 0.9, 1.25])
def test_a_half_sine_falls_as_the_model_says_whatever_the_plates_gain(scale: float) -> None:
    times, force = half_sines(scale)
    height = bounce.heights(times, force)
    on = times <= CONTACT_S
    assert -height[on].min() == pytest.approx(stiffness.fall(MASS, CONTACT_S, FLIGHT_S), rel=1e-3)
    # in flight the body rises by g (flight / 2)^2 / 2 over where it left the ground, as high as it landed
    assert height[times <= CONTACT_S + FLIGHT_S].max() == pytest.approx(G * (FLIGHT_S / 2) ** 2 / 2, rel=2e-3)
    assert height[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-9)


@given(st.floats(0.5, 1.5), st.floats(0.02, 0.3), st.integers(0, 10**6))
@tries(20)
def test_any_stride_ends_as_high_as_it_began(weight: float, size: float, seed: int) -> None:
    chance = np.random.default_rng(seed)
    times = np.sort(chance.uniform(0, 0.7, 200))
    height = bounce.heights(times, 700 * weight * (1 + size * chance.normal(size=200)))
    assert height[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_footfalls_have_the_bounce_of_their_whole_strides_alone() -> None:
    trial = a_trial(force_rate=2000.0)
    found = compute_footfalls(trial, Processing(), None)
    whole = found["stride_time_s"].notna()
    columns = ["centre_of_mass_fall_m", "centre_of_mass_oscillation_m", "measured_vertical_stiffness_kn_per_m"]
    assert found.loc[whole, columns].notna().all(axis=None)
    assert found.loc[~whole, columns].isna().all(axis=None)
    louder = compute_footfalls(with_force(trial, lambda force: 1.1 * force), Processing(contact_threshold_n=22), None)
    assert louder[columns[0]].to_numpy() == pytest.approx(found[columns[0]].to_numpy(), rel=2e-3, nan_ok=True)
    assert louder[columns[2]].to_numpy() == pytest.approx(1.1 * found[columns[2]].to_numpy(), rel=3e-3, nan_ok=True)


def test_a_body_that_falls_onto_a_brake_has_its_own_mass() -> None:
    # 5 kg at 1.2 m/s, stopped in 20 ms by whatever force: impulse 5 (1.2 + g 0.02)
    impulse_bw_s = 5 * (1.2 + G * 0.02) / (MASS * G)
    assert bounce.effective_mass(impulse_bw_s, 1.2, 0.02) == pytest.approx(5 / MASS)
    assert bounce.effective_mass(impulse_bw_s, 0.0, 0.02) is None


def test_the_speed_of_a_fall_is_that_before_the_collision_and_noise_is_worth_what_is_stated() -> None:
    times = -np.arange(10, -1, -1) / 200
    falls = 0.08 - 0.7 * times - G / 2 * times**2
    speed, noise = bounce.falling_speed(times, falls)
    assert speed == pytest.approx(0.7)
    chance = np.random.default_rng(5)
    drawn = [bounce.falling_speed(times, falls + chance.normal(0, 0.001, len(times)))[0] for _ in range(2000)]
    assert np.std(drawn) == pytest.approx(0.001 * noise, rel=0.05)


def test_a_foot_that_stops_at_contact_is_not_slowed_before_it_as_its_filtered_path_is() -> None:
    """A fall at 0.7 m/s that ends at once: filtered at 20 Hz, its last 5 ms are slower by far."""
    times = np.arange(-40, 41) / 200
    stops = np.where(times < 0, -0.7 * times, 0.0)
    before = (times <= 0) & (times >= -0.05)
    assert bounce.falling_speed(times[before], stops[before])[0] == pytest.approx(0.7)
    smooth = low_pass(stops, 200, 20)
    assert (smooth[39] - smooth[40]) * 200 < 0.7 * 0.8


def test_effective_mass_needs_an_impact_peak_and_an_ankle() -> None:
    times = np.arange(len(a_trial().plates[0].force)) / 1000.0
    bumps = sum(700 * np.exp(-(((times - 0.125 - 0.35 * i) / 0.008) ** 2)) for i in range(8))
    trial = with_force(a_trial(), lambda force: force + np.stack([0 * times, bumps, 0 * times], axis=1))
    rising = np.arange(len(trial.markers["calcaneus_left"])) / trial.marker_rate_hz
    ankles = {f"lateral_malleolus_{s}": np.stack([0 * rising, -0.8 * rising, 0 * rising], 1) for s in ("left", "right")}
    trial = replace(trial, markers=trial.markers | ankles)
    found = compute_footfalls(trial, Processing(), a_posture())
    peaked = found["impact_peak_bw"].notna()
    assert peaked.all()
    assert found["effective_mass_fraction"].notna().tolist() == peaked.tolist()
    row = found[peaked].iloc[0]
    work = Workspace(trial, Processing(), a_posture())
    start, lasts, rate = row["contact_s"], row["impact_peak_time_s"], trial.analog_rate_hz
    inside = np.linspace(start, start + lasts, 400)
    force = np.interp(inside, np.arange(len(work.signals.both)) / rate, work.signals.both[:, 1])
    expected = np.trapezoid(force, inside) / (trial.mass_kg * (0.8 + G * lasts))
    assert row["effective_mass_fraction"] == pytest.approx(expected, rel=0.01)
    without = with_force(trial, lambda force: force - np.stack([0 * times, bumps, 0 * times], axis=1))
    assert compute_footfalls(without, Processing(), a_posture())["effective_mass_fraction"].isna().all()
