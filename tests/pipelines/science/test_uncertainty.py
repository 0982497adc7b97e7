"""Stated uncertainties against what first principles say of a half-sine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.science.equipment.doubt import BELT, CROSSTALK, GAIN_APART, HORIZONTAL_GAIN, UNSEEN_SCALE
from pipelines.science.gait.bounce import heights
from pipelines.science.gait.foot_strike import foot_strike_angle, index_uncertainty, strike_index
from pipelines.science.gait.spatiotemporal import runway_speed, speed_uncertainty, trunk_slopes
from pipelines.science.signals.filters import white_noise_left
from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from schemas.trial import Signal, Trial
from tests.builders import G, a_posture, a_trial

PLAIN = Processing()
CONTACT_S, PEAK_N = 0.25, np.pi / 2 * 70.0 * G * 0.35 / 0.25


def stated(trial: Trial, processing: Processing = PLAIN) -> dict[str, dict]:
    rows = Workspace(trial, processing, a_posture()).outcome_uncertainties.records
    return {row["outcome"]: dict(row) for row in rows}


def with_dead_band(newtons: float) -> Trial:
    """Every force below so much is exactly zero."""
    trial = a_trial(footfalls=8)
    plate = trial.plates[0]
    gone = np.abs(plate.force[:, [1]]) < newtons
    return replace(
        trial, plates=(replace(plate, force=np.where(gone, 0, plate.force), moment=np.where(gone, 0, plate.moment)),)
    )


def test_the_gain_is_worth_its_part_of_every_force_and_no_part_of_the_centre_of_pressure() -> None:
    found = stated(a_trial(footfalls=8))
    part = UNSEEN_SCALE / 3**0.5
    assert found["active_peak_bw"]["from_scale_value"] == pytest.approx(part * PEAK_N / (70 * G), rel=1e-3)
    assert found["vertical_impulse_bw_s"]["from_scale_value"] == pytest.approx(part * 0.35, rel=2e-3)
    assert found["strike_index_percent"]["from_scale_value"] < 0.1  # 200 N come a little sooner


def test_force_that_is_too_large_for_a_body_doubts_the_gain_more_than_force_that_is_too_small() -> None:
    """Real runners lie 0 to 4.5 % below the mass of another scale, so 2 % above is 2 to 6.5 % of gain."""

    def with_gain(times: float) -> float:
        trial = a_trial(footfalls=8)
        plate = trial.plates[0]
        larger = replace(plate, force=plate.force * times, moment=plate.moment * times)
        return float(stated(replace(trial, plates=(larger,)))["active_peak_bw"]["from_scale_value"]) / (
            times * PEAK_N / (70 * G)
        )

    gains = np.linspace(0.02, 0.065, 10_001)
    assert with_gain(1.02) == pytest.approx(np.sqrt(np.mean(gains**2)), rel=0.02)
    assert with_gain(0.98) == pytest.approx(UNSEEN_SCALE / 3**0.5, rel=0.02)


def test_a_level_that_was_cut_away_is_worth_its_part_of_contact_time_and_impulse() -> None:
    found = stated(with_dead_band(12.0))
    level = np.min(np.abs(with_dead_band(12.0).force[with_dead_band(12.0).force[:, 1] != 0, 1])) / 3**0.5
    # a half-sine of this height passes 20 N at this slope, on both sides
    slope = PEAK_N * np.pi / CONTACT_S * np.sqrt(1 - (20 / PEAK_N) ** 2)
    assert found["contact_time_s"]["from_level_value"] == pytest.approx(2 * level / slope, rel=0.25)
    assert found["vertical_impulse_bw_s"]["from_level_value"] == pytest.approx(level * 0.25 / (70 * G), rel=0.05)
    assert found["contact_time_s"]["standard_uncertainty_value"] >= found["contact_time_s"]["from_level_value"]


def test_parts_add_as_squares_and_of_lag_times_know_only_what_may_be_missing_in_force() -> None:
    for name, row in stated(with_dead_band(12.0)).items():
        parts = [
            row[f"from_{part}_value"] for part in ("level", "noise", "scale", "lag", "events", "markers", "scatter")
        ]
        known = [part for part in parts if np.isfinite(part)]
        assert row["standard_uncertainty_value"] == pytest.approx(np.sqrt(np.sum(np.square(known)))), name
    row = stated(with_dead_band(12.0))["contact_time_s"]
    assert row["from_lag_value"] == pytest.approx(0.006 / 8)  # 6 ms over the root of 8 footfalls, in one of them
    assert not row["from_markers_value"] > 0
    assert not row["from_events_value"] > 0


def test_more_noise_makes_every_time_less_certain() -> None:
    def noisy(newtons: float) -> Trial:
        trial, chance = a_trial(footfalls=8), np.random.default_rng(3)
        plate = trial.plates[0]
        return replace(
            trial, plates=(replace(plate, force=plate.force + chance.normal(0, newtons, plate.force.shape)),)
        )

    quiet, loud = (stated(noisy(size), Processing(event_cutoff_hz=50, force_cutoff_hz=50)) for size in (1, 5))
    for name in ("contact_time_s", "flight_time_s", "strike_index_percent"):
        assert loud[name]["from_noise_value"] > 2 * quiet[name]["from_noise_value"] > 0, name


def test_what_the_filter_moves_contacts_by_is_stated_with_what_hangs_on_them() -> None:
    """A half-sine begins at a known moment; smoothed, it passes the threshold earlier, and its peak seems later."""
    trial = a_trial(footfalls=8)
    settings = Processing(event_cutoff_hz=50, force_cutoff_hz=50)
    found = stated(trial, settings)
    sharp = Workspace(trial, PLAIN, a_posture()).footfalls
    smooth = Workspace(trial, settings, a_posture()).footfalls
    for name in ("contact_time_s", "active_peak_time_s"):
        off = np.abs(smooth.numbers(name) - sharp.numbers(name)).mean()
        assert off > 1e-4, name
        assert 0.5 * off < found[name]["from_events_value"] < 2.5 * off, name
    # without a filter there is nothing to state
    assert not stated(trial)["contact_time_s"]["from_events_value"] > 0


def on_two_plates(trial: Trial) -> Trial:
    """Right feet (which begin) on one plate, left feet on another."""
    plate = trial.plates[0]
    since = np.arange(len(plate.force)) / float(trial.analog_rate_hz or 1.0) - 0.05
    right = ((since // 0.35) % 2 == 0)[:, None]
    feet = [
        replace(plate, number=number, force=plate.force * own, moment=plate.moment * own)
        for number, own in ((1, right), (2, ~right))
    ]
    return replace(trial, plates=tuple(feet))


def test_two_plates_of_unlike_gain_make_the_body_rise_unlike_as_drawn_gains_do() -> None:
    trial = on_two_plates(a_trial(footfalls=8))
    one, two = (plate.force[:, 1] for plate in trial.plates)
    times = np.arange(len(one)) / 1000.0
    stride, step = (times >= 0.1) & (times <= 0.8), 350
    chance, rises = np.random.default_rng(6), []
    for gains in 1 + chance.normal(0, GAIN_APART, (400, 2)):
        height = heights(times[stride], gains[0] * one[stride] + gains[1] * two[stride])
        rises.append(height[: step + 1].max() - height[:251].min())
    plain = heights(times[stride], (one + two)[stride])
    moved = np.array(rises) - (plain[: step + 1].max() - plain[:251].min())
    found = stated(trial)["centre_of_mass_oscillation_m"]["from_scale_value"]
    assert found == pytest.approx(float(np.sqrt(np.mean(moved**2))), rel=0.25)
    alone = stated(a_trial(footfalls=8))["centre_of_mass_oscillation_m"]["from_scale_value"]
    assert not alone > 0.1 * found  # one plate's gain is that of both steps


def without_plates(**changes: float) -> dict[str, dict]:
    """Of footfalls found in markers; their contacts and toe-offs off by so much."""
    settings = Processing.model_validate({"marker_events": {"toe_off": "jerk", **changes}})
    return stated(replace(a_trial(footfalls=9), plates=()), settings)


def test_events_of_markers_are_worth_what_times_are_made_of() -> None:
    sizes = {"contact_bias_s": 0.006, "contact_scatter_s": 0.002, "toe_off_bias_s": 0.009, "toe_off_scatter_s": 0.004}
    found = without_plates(**sizes)
    both = np.sqrt(np.sum(np.square(list(sizes.values()))))
    for name in ("contact_time_s", "flight_time_s"):
        assert found[name]["from_events_value"] == pytest.approx(both), name
    # what is alike in all contacts leaves the time between two as it is
    for name in ("step_time_s", "stride_time_s"):
        assert found[name]["from_events_value"] == pytest.approx(2**0.5 * 0.002), name
        assert found[name]["standard_uncertainty_value"] == pytest.approx(2**0.5 * 0.002), name
    assert found["step_length_m"]["from_events_value"] == pytest.approx(3.0 * 2**0.5 * 0.002)
    assert "active_peak_bw" not in found


def test_stiffness_without_plates_is_in_doubt_as_far_as_body_mass_is() -> None:
    found = without_plates(contact_bias_s=0, contact_scatter_s=0, toe_off_bias_s=0, toe_off_scatter_s=0)
    trial = replace(a_trial(footfalls=9), plates=())
    settings = Processing.model_validate({"marker_events": {"toe_off": "jerk"}})
    stiffness = Workspace(trial, settings, a_posture()).footfalls.numbers("vertical_stiffness_kn_per_m")[:6]
    by_mass = UNSEEN_SCALE / 3**0.5 * np.sqrt(np.mean(stiffness**2))
    assert found["vertical_stiffness_kn_per_m"]["from_scale_value"] == pytest.approx(by_mass, rel=1e-6)


def test_events_by_foot_sensors_are_in_doubt_by_their_own_settings_and_by_the_match_of_their_clock() -> None:
    trial = replace(a_trial(footfalls=9), plates=())
    starts, rate = 0.10 + 0.35 * np.arange(9), 500.0
    time = np.arange(round(trial.duration_s * rate)) / rate
    switches = []
    for side, first in (("right", 0), ("left", 1)):
        closed = np.any([(time >= s) & (time < s + 0.25) for s in starts[first::2]], axis=0)
        switches.append(Signal("foot_sensor", None, side, "V", rate, 5.0 * closed))
    trial = replace(trial, signals=tuple(switches))
    clock = {"residual_s": 0.004, "is_matched": True, "clock_basis": "sensor_against_markers"}
    settings = Processing.model_validate({"sensors": {"contact_bias_s": 0.003, "contact_scatter_s": 0.0}})
    work = Workspace(trial, settings, a_posture(), clock=clock)
    found = {row["outcome"]: row for row in work.outcome_uncertainties.records}
    assert set(work.footfalls.columns["event_method"]) == {"sensor"}
    by_sensor, by_clock = (found["foot_strike_angle_deg"][f"from_{part}_value"] for part in ("events", "lag"))
    # the foot turns evenly between two frames, so what 3 ms are worth and what 4 ms are worth go by the time
    assert by_clock / by_sensor == pytest.approx(4 / 3, rel=0.01)
    assert by_sensor > 0
    assert not found["contact_time_s"]["from_lag_value"] > 1e-9


def test_speed_on_a_runway_is_as_uncertain_as_a_slope_through_shaking_places() -> None:
    """Least squares through n evenly spaced places over T: s sqrt(12 / n) / T; and 2000 draws of it."""
    rate, frames, metres = 200.0, 300, 0.001
    chance, path = np.random.default_rng(6), np.zeros((frames, 3))
    path[:, 0] = 3.0 * np.arange(frames) / rate
    marks = {"sacrum": path, "anterior_superior_iliac_spine_left": path + 0.1}
    roles = PLAIN.speed_roles
    found = speed_uncertainty(trunk_slopes(marks, roles, rate), metres, 0.0)
    assert found == pytest.approx(metres * np.sqrt(12 / frames) / (frames / rate) / 2**0.5, rel=0.01)
    drawn = [
        runway_speed({name: p + chance.normal(0, metres, p.shape) for name, p in marks.items()}, roles, rate)
        for _ in range(2000)
    ]
    assert found == pytest.approx(np.std(np.array(drawn, float)), rel=0.05)
    assert speed_uncertainty(trunk_slopes(marks, roles, rate), 0.0, metres) == pytest.approx(
        metres * 2**0.5 / ((frames - 1) / rate) / 2**0.5
    )


def test_strike_angle_and_index_move_with_their_markers_as_far_as_is_stated() -> None:
    trial = a_trial(footfalls=8, marker_rate=200.0)
    settings = Processing(marker_cutoff_hz=20.0)
    rows = stated(trial, settings)
    off = np.hypot(0.001, 0.001 * white_noise_left(2, 20.0, 200.0)[0])
    chance = np.random.default_rng(7)
    heel, toe, point = np.array([0.0, 0.04, 0.0]), np.array([0.18, 0.04, 0.0]), np.array([0.05, 0.0, 0.0])
    drawn = [(heel + chance.normal(0, off, 3), toe + chance.normal(0, off, 3)) for _ in range(4000)]
    angles = [foot_strike_angle(a, b, heel, toe) for a, b in drawn]
    assert rows["foot_strike_angle_deg"]["from_markers_value"] == pytest.approx(np.std(np.array(angles)), rel=0.05)
    indices = np.array([strike_index(point, a, b) for a, b in drawn], float)
    assert float(index_uncertainty(np.array([100 * 0.05 / 0.18]), 0.18, float(off))[0]) == pytest.approx(
        indices.std(), rel=0.05
    )


@pytest.mark.parametrize("told", [3.0, 3.09])
def test_the_speed_of_a_belt_is_doubted_by_what_the_feet_on_it_say(told: float) -> None:
    """The builder's feet go back with the belt at 3 m/s."""
    found = stated(replace(a_trial(footfalls=8, speed=3.0), set_speed_m_per_s=told))
    part = np.hypot(3.0 / told - 1, BELT)
    assert found["speed_m_per_s"]["from_markers_value"] == pytest.approx(part * told, rel=0.02)
    stride = found["stride_length_m"]["from_markers_value"]
    assert stride == pytest.approx(part * told * 0.7, rel=0.02)
    assert found["leg_stiffness_kn_per_m"]["from_markers_value"] > 0


def test_horizontal_channels_are_doubted_by_themselves() -> None:
    """A half-sine of fore-aft force over each half of contact: braking, then propulsion."""
    trial = a_trial(footfalls=8)
    rows = Workspace(trial, PLAIN, a_posture()).footfalls
    found = stated(trial)
    impulse, vertical = (rows.numbers(f"{name}_impulse_bw_s").mean() for name in ("braking", "vertical"))
    own = found["braking_impulse_bw_s"]["from_scale_value"]
    gain = UNSEEN_SCALE / 3**0.5 * impulse
    assert own == pytest.approx(
        np.sqrt(gain**2 + (HORIZONTAL_GAIN * impulse) ** 2 + (CROSSTALK * 0.6 * vertical) ** 2), rel=0.01
    )
    assert found["net_fore_aft_impulse_bw_s"]["from_scale_value"] == pytest.approx(CROSSTALK * vertical, rel=0.01)


def test_a_coarse_converter_doubts_the_level_by_what_rounding_leaves() -> None:
    def rounded(trial: Trial, step_n: float) -> Trial:
        plate, chance = trial.plates[0], np.random.default_rng(2)
        force = np.round((plate.force + chance.normal(0, 1.0, plate.force.shape)) / step_n) * step_n
        return replace(trial, plates=(replace(plate, force=force),))

    (reading,) = Workspace(rounded(a_trial(footfalls=8), 2.0), PLAIN, a_posture()).plate_readings
    assert reading.step_n == pytest.approx(2.0)
    (smooth,) = Workspace(rounded(a_trial(footfalls=8), 1e-9), PLAIN, a_posture()).plate_readings
    assert smooth.step_n < 1e-3
    coarse, fine = (
        stated(rounded(a_trial(footfalls=8), n))["vertical_impulse_bw_s"]["from_level_value"] for n in (2.0, 1e-9)
    )
    assert np.sqrt(coarse**2 - fine**2) == pytest.approx(2.0 / 12**0.5 * CONTACT_S / (70 * G), rel=0.1)


def test_joints_have_their_rows_with_their_units() -> None:
    rows = {name: row for name, row in stated(a_trial(footfalls=8)).items() if "/" in name}
    assert {name.partition("/")[0] for name in rows} == {"ankle", "knee", "hip"}
    assert rows["ankle/sagittal/segment/angle_at_contact_deg"]["outcome_unit"] == "deg"
    moment = rows["ankle/sagittal/segment/moment_peak_nm_per_kg"]
    assert moment["outcome_unit"] == "N.m/kg"
    assert moment["from_scale_value"] > 0
