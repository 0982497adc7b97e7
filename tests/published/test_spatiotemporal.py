"""Times and lengths against identities of running and the real run's known values."""

from __future__ import annotations

import pytest

from pipelines.science.gait import spatiotemporal
from schemas.processing import Processing
from tests.as_frames import compute_footfalls, compute_trial_outcomes
from tests.builders import a_trial
from tests.published.force_of_the_real_run import needs_real_run, real_run, recorded_markers, truth

# The pelvis markers that truth.json took the speed from, and the heels, by role
LABELS = {
    "anterior_superior_iliac_spine_right": "RASI",
    "anterior_superior_iliac_spine_left": "LASI",
    "posterior_superior_iliac_spine_right": "RPSI",
    "posterior_superior_iliac_spine_left": "LPSI",
    "calcaneus_left": "LCAL",
    "calcaneus_right": "RCAL",
    "fifth_metatarsal_head_left": "LMT5",
    "fifth_metatarsal_head_right": "RMT5",
}
MT5 = Processing(forefoot_role="fifth_metatarsal_head")


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
def test_speed_is_stride_length_times_stride_frequency(surface: str) -> None:
    # identity: speed = stride length x stride frequency = 2 x step length / stride time
    steady = compute_footfalls(a_trial(surface=surface, speed=3.3), Processing(), None).dropna(subset="stride_time_s")
    assert len(steady) == 6
    assert steady["speed_m_per_s"].tolist() == pytest.approx([3.3] * 6, rel=0.001)
    assert (steady["stride_length_m"] / steady["stride_time_s"]).tolist() == pytest.approx([3.3] * 6, rel=0.01)
    assert (2 * steady["step_length_m"] / steady["stride_time_s"]).tolist() == pytest.approx([3.3] * 6, rel=0.01)


def test_duty_factor_is_contact_over_stride_and_not_over_step() -> None:
    # Alexander's duty factor, per stride: tc / (2 (tc + tf)). One published closed set (J Exp Biol, Table 4, younger
    # runners): contact 0.271 s, flight 0.112 s, stride frequency 1.31 Hz, duty factor 35.5 %, each rounded
    step = 0.271 + 0.112
    assert spatiotemporal.duty_factor(0.271, step, 2 * step) == pytest.approx(0.355, abs=0.002)
    assert spatiotemporal.duty_factor(0.271, step, None) == spatiotemporal.duty_factor(0.271, step, 2 * step)
    assert spatiotemporal.cadence(step) == pytest.approx(2 * 60 * 1.31, rel=0.005)


def test_mean_force_in_contact_is_body_weight_over_twice_the_duty_factor() -> None:
    # Newton: mean force in contact / m g = step time / contact time = 1 / (2 duty factor), for a symmetric runner
    steady = compute_footfalls(a_trial(), Processing(), None).dropna(subset="stride_time_s")
    expected = (1 / (2 * steady["duty_factor_fraction"])).tolist()
    assert steady["mean_vertical_force_bw"].tolist() == pytest.approx(expected, rel=0.001)


@needs_real_run
def test_step_and_flight_time_of_the_real_run() -> None:
    known = truth()
    first, last = compute_footfalls(real_run(recorded_markers(LABELS)), MT5, None).to_dict("records")
    assert first["step_time_s"] == pytest.approx(known["step_time_right_to_left_s"], abs=2e-6)
    assert first["flight_time_s"] == pytest.approx(known["flight_time_right_off_to_left_on_s"], abs=2e-6)
    assert str(last["step_time_s"]) == str(first["stride_time_s"]) == "nan"  # the second right contact has no plate


@needs_real_run
def test_speed_and_step_length_of_the_real_run() -> None:
    known = truth()["speed"]["along_x_m_s"]
    trial = real_run(recorded_markers(LABELS))
    footfalls = compute_footfalls(trial, MT5, None)
    assert footfalls["speed_m_per_s"].tolist() == pytest.approx([known, known], abs=1e-4)
    # heel to heel at contact is 1.110 m; this runner's left foot lands further ahead than its right, so that one step
    # is longer than speed times step time (0.954 m)
    first, second = (c["markers_at_contact_mm"] for c in truth()["contacts"])
    apart = (second["LCAL"][0] - first["RCAL"][0]) / 1000
    assert footfalls["step_length_m"][0] == pytest.approx(apart, abs=0.02)


@needs_real_run
def test_body_mass_from_the_force_of_one_real_step_is_near_the_weighed_one() -> None:
    trial = real_run(recorded_markers(LABELS))
    row = compute_trial_outcomes(trial, MT5, None)
    # 70.988 kg: both impulses over two equal steps (truth.json); half of each over one step differs only by rounding
    assert row["mass_from_force_kg"] == pytest.approx(truth()["stride"]["mass_from_two_equal_steps_kg"], rel=0.001)
    assert row["mass_used_kg"] == 72.84
    assert row["mass_from_force_kg"] == pytest.approx(72.84, rel=0.05)  # single overground step: 5 %
