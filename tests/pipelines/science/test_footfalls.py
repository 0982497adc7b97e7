from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.footfalls import COLUMNS
from schemas import fields as f
from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_pandera import pandera_schema
from schemas.model import Kind
from schemas.outcomes import FOOTFALLS
from schemas.processing import Processing
from schemas.trial import Signal, Trial
from tests.as_frames import compute_footfalls
from tests.builders import G, a_posture, a_standing_trial, a_trial, cut, hummed, mirrored, with_force
from tests.tries import tries

PLAIN = Processing()
FORCE_COLUMNS = [
    name for name in FOOTFALLS.column_names if "_bw" in name or name in ("impact_peak_time_s", "active_peak_time_s")
]
STIFFNESS_COLUMNS = ["vertical_stiffness_kn_per_m", "leg_stiffness_kn_per_m"]
#: Of force as it is, whatever the mass.
MEASURED = "measured_vertical_stiffness_kn_per_m"
STRIKE_COLUMNS = list(FOOTFALLS.column_names)[
    FOOTFALLS.column_names.index("foot_strike_angle_deg") : -len(f.PROVENANCE)
]


def outcomes(trial: Trial, **changes: object) -> pd.DataFrame:
    return compute_footfalls(trial, Processing.model_validate(changes), a_posture())


def same(one: pd.DataFrame, other: pd.DataFrame, **tolerance: float) -> None:
    pd.testing.assert_frame_equal(one, other, **({"rtol": 1e-6, "atol": 1e-9} | tolerance))


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
def test_a_clean_trial_gives_what_it_was_made_from(surface: str) -> None:
    found = outcomes(a_trial(surface=surface))
    assert found["footfall_number"].tolist() == list(range(1, 9))
    assert found["side"].tolist() == ["right", "left"] * 4
    assert found["contact_s"].tolist() == pytest.approx([0.1 + 0.35 * i for i in range(8)], abs=0.002)
    assert found["contact_time_s"].tolist() == pytest.approx([0.25] * 8, abs=0.003)
    assert found["flight_time_s"].tolist()[:-1] == pytest.approx([0.10] * 7, abs=0.003)
    assert found["step_length_m"].tolist()[:-1] == pytest.approx([1.05] * 7, abs=0.001)
    assert found["foot_strike_angle_deg"].tolist() == pytest.approx([10] * 8, abs=0.5)
    # 2 degrees above the cut-off, with no pelvis that would tell how late the force is against markers that the belt moves
    assert set(found["strike_class_by_angle"]) == {"uncertain"}
    assert set(found["strike_class_by_index"]) == {"uncertain" if surface == "treadmill" else "rearfoot"}
    assert found["strike_classes_agree"].isna().all()
    # the centre of pressure lands 2 cm ahead of the heel marker of an 18 cm foot and rolls on 16 cm; the heel marker, 4 cm
    # up, lies behind its place on the ground while the toes are up. 200 N of the half-sine's 1509.6 N
    share = np.arcsin(200 / (np.pi / 2 * 70 * G * 0.35 / 0.25)) / np.pi
    behind = 0.04 * np.sin(np.radians(10 * (1 - share / 0.15)))
    index = 100 * (0.02 + 0.16 * share + behind) / 0.18
    assert found["strike_index_percent"].tolist() == pytest.approx([index] * 8, abs=0.3)


def test_the_last_footfall_has_no_step_and_the_one_before_no_stride() -> None:
    found = outcomes(a_trial())
    needs_step = ["flight_time_s", "step_time_s", "cadence_step_per_min", "step_length_m", *STIFFNESS_COLUMNS]
    assert found[needs_step].notna().all(axis=1).tolist() == [True] * 7 + [False]
    assert found[["stride_time_s", "stride_length_m"]].notna().all(axis=1).tolist() == [True] * 6 + [False] * 2
    assert found["duty_factor_fraction"].notna().tolist() == [True] * 7 + [False]


def test_columns_and_types_are_those_of_the_definition_with_rows_and_without() -> None:
    some, none = outcomes(a_trial()), outcomes(a_standing_trial())
    assert list(some) == list(none) == [c.name for c in COLUMNS]
    assert [c.name for c in COLUMNS] == [n for n in FOOTFALLS.column_names if n not in {p.name for p in f.PROVENANCE}]
    assert len(none) == 0
    assert some.dtypes.to_dict() == none.dtypes.to_dict()
    for column in COLUMNS:
        dtype = some[column.name].dtype
        assert pd.api.types.is_float_dtype(dtype) == (column.kind is Kind.REAL), column.name
        assert pd.api.types.is_integer_dtype(dtype) == (column.kind is Kind.INTEGER), column.name
        assert pd.api.types.is_bool_dtype(dtype) == (column.kind is Kind.BOOLEAN), column.name


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
def test_every_value_keeps_the_bounds_and_words_of_its_column(surface: str) -> None:
    found = outcomes(a_trial(surface=surface), force_cutoff_hz=50, marker_cutoff_hz=15)
    for column in COLUMNS:
        values = found[column.name].dropna()
        assert column.nullable or len(values) == len(found), column.name
        assert column.low is None or (values >= column.low).all(), column.name
        assert column.high is None or (values <= column.high).all(), column.name
        assert not column.codes or set(values) <= {c.value for c in column.codes}, column.name


# ---- properties


@tries(15)
@given(st.floats(0.6, 1.6))
def test_scaling_force_and_mass_together_leaves_outcomes_in_body_weights_alone(factor: float) -> None:
    trial = a_trial(footfalls=4)
    scaled = replace(
        trial,
        mass_kg=70.0 * factor,
        plates=tuple(replace(p, force=p.force * factor, moment=p.moment * factor) for p in trial.plates),
    )
    limits = {"contact_threshold_n": 20.0, "cop_threshold_n": 20.0, "strike_index_force_n": 200.0}
    limits = {name: newtons * factor for name, newtons in limits.items()}
    found = outcomes(scaled, **limits)
    expected = outcomes(trial)
    stiffness = expected[[*STIFFNESS_COLUMNS, MEASURED]] * factor
    same(found, expected.assign(**stiffness))


@tries(10)
@given(st.integers(1, 40))
def test_starting_the_record_earlier_shifts_the_events_and_nothing_else(frames: int) -> None:
    start = 0.10 + frames * 0.005  # whole frames, so that markers and force keep their phase
    found, expected = outcomes(a_trial(footfalls=4, start_s=start)), outcomes(a_trial(footfalls=4))
    events = ["contact_s", "toe_off_s"]
    same(found.drop(columns=events), expected.drop(columns=events), rtol=1e-4, atol=1e-3)
    assert (found[events] - expected[events]).to_numpy() == pytest.approx(frames * 0.005, abs=1e-6)


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
@pytest.mark.parametrize("first_side", ["left", "right"])
def test_a_mirrored_runner_has_the_same_outcomes_on_the_other_side(surface: str, first_side: str) -> None:
    trial = a_trial(surface=surface, first_side=first_side)
    found, expected = outcomes(mirrored(trial)), outcomes(trial)
    same(found.drop(columns="side"), expected.drop(columns="side"))
    assert (found["side"] != expected["side"]).all()


@tries(15)
@given(st.floats(0.16, 0.30), st.floats(0.05, 0.15), st.floats(2.0, 4.5))
def test_impulses_in_body_weights_add_up_to_the_time_they_carry(contact: float, flight: float, speed: float) -> None:
    found = outcomes(a_trial(footfalls=6, contact_s=contact, flight_s=flight, speed=speed)).iloc[:-1]
    assert found["vertical_impulse_bw_s"].sum() == pytest.approx(found["step_time_s"].sum(), rel=0.002)


@tries(15)
@given(st.integers(0, 2**32 - 1))
def test_noise_below_the_threshold_adds_no_footfalls(seed: int) -> None:
    rng = np.random.default_rng(seed)
    noisy = with_force(a_trial(footfalls=4), lambda force: force + rng.uniform(-15, 15, force.shape))
    assert outcomes(noisy)["side"].tolist() == ["right", "left", "right", "left"]


# ---- filters


def test_a_force_filter_changes_peaks_and_loading_but_not_events_or_impulses() -> None:
    rng = np.random.default_rng(3)
    noisy = with_force(a_trial(), lambda force: force + rng.normal(0, 4, force.shape))
    plain, filtered = outcomes(noisy, force_cutoff_hz=300), outcomes(noisy, force_cutoff_hz=30)
    steady = [c for c in plain if "impulse" in c or c in ("contact_s", "toe_off_s", "mean_vertical_force_bw")]
    same(plain[steady], filtered[steady])
    assert (filtered["instantaneous_loading_rate_bw_per_s"] < plain["instantaneous_loading_rate_bw_per_s"]).all()
    assert filtered["active_peak_bw"].tolist() == pytest.approx([np.pi / 2 * 0.35 / 0.25] * 8, rel=0.01)


def test_a_marker_filter_is_used_for_the_strike_angle() -> None:
    trial = a_trial()
    plain, filtered = outcomes(trial), outcomes(trial, marker_cutoff_hz=6)
    assert (plain["foot_strike_angle_deg"] - filtered["foot_strike_angle_deg"]).abs().min() > 0.2
    same(plain[FORCE_COLUMNS], filtered[FORCE_COLUMNS])


# ---- what is cut off, missing or spoilt


def test_contacts_cut_by_the_start_and_the_end_are_not_counted() -> None:
    whole = outcomes(a_trial())
    found = outcomes(cut(a_trial(), 0.2, 2.7))
    assert len(found) == len(whole) - 2
    assert found["footfall_number"].tolist() == [1, 2, 3, 4, 5, 6]
    assert found["contact_s"].tolist() == pytest.approx((whole["contact_s"][1:-1] - 0.2).tolist())


def test_without_mass_every_column_of_force_and_stiffness_is_null_and_the_rest_is_not() -> None:
    for mass in (None, 0.0, float("nan"), -70.0):
        found = outcomes(a_trial(mass_kg=70.0))
        light = outcomes(replace(a_trial(), mass_kg=mass))
        assert light[FORCE_COLUMNS + STIFFNESS_COLUMNS].isna().all(axis=None)
        rest = [c for c in found if c not in FORCE_COLUMNS + STIFFNESS_COLUMNS]
        same(light[rest], found[rest])


def test_without_a_standing_trial_the_angle_is_null_and_the_index_is_not() -> None:
    found = compute_footfalls(a_trial(), PLAIN, None)
    null = ["foot_strike_angle_deg", "strike_class_by_angle", "strike_classes_agree"]
    assert found[null].isna().all(axis=None)
    assert found[["strike_index_percent", "strike_class_by_index"]].notna().all(axis=None)


def test_a_standing_trial_that_lacks_one_foot_gives_no_angle_on_that_side() -> None:
    posture = a_posture()
    right_only = {role: place for role, place in posture.markers.items() if not role.endswith("left")}
    found = compute_footfalls(a_trial(), PLAIN, replace(posture, markers=right_only))
    assert found["foot_strike_angle_deg"].notna().tolist() == [True, False] * 4


def test_a_hidden_forefoot_gives_no_strike_on_that_side_but_keeps_its_footfalls() -> None:
    trial = a_trial()
    hidden = trial.markers | {"second_metatarsal_head_left": trial.markers["second_metatarsal_head_left"] * np.nan}
    found = outcomes(replace(trial, markers=hidden))
    assert found["side"].tolist() == ["right", "left"] * 4
    seen = found[["foot_strike_angle_deg", "strike_class_by_angle", "strike_index_percent", "strike_class_by_index"]]
    assert seen.notna().all(axis=1).tolist() == [True, False] * 4


def test_one_marker_on_each_foot_is_enough_to_tell_the_sides() -> None:
    trial = a_trial()
    for role in ("calcaneus", "second_metatarsal_head"):
        lone = {name: path for name, path in trial.markers.items() if name.startswith(role)}
        found = outcomes(replace(trial, markers=lone))
        assert found["side"].tolist() == ["right", "left"] * 4
        assert found[STRIKE_COLUMNS].isna().all(axis=None)
        half_hidden = {name: path * (np.nan if name.startswith(role) else 1.0) for name, path in trial.markers.items()}
        without_moment = tuple(replace(p, moment=p.moment * np.nan) for p in trial.plates)
        found = outcomes(replace(trial, markers=half_hidden, plates=without_moment))
        assert found["side"].tolist() == ["right", "left"] * 4


def test_markers_of_one_foot_are_enough_to_tell_the_sides() -> None:
    trial = a_trial()
    one = {role: path for role, path in trial.markers.items() if not role.endswith("_left")}
    found = outcomes(replace(trial, markers=one))
    assert found["side"].tolist() == ["right", "left"] * 4
    assert found["step_time_s"].notna().sum() == 7


def test_footfalls_whose_side_nobody_can_know_are_left_out() -> None:
    trial = a_trial()
    assert len(outcomes(replace(trial, markers={}))) == 0
    assert len(outcomes(replace(trial, markers={role: path * np.nan for role, path in trial.markers.items()}))) == 0


def test_a_footfall_left_out_still_parts_the_steps_beside_it() -> None:
    trial = a_trial()
    hidden = {role: path.copy() for role, path in trial.markers.items()}
    for path in hidden.values():
        path[round(0.80 * 200) : round(1.06 * 200)] = np.nan  # the third contact, 0.80 to 1.05 s
    found = outcomes(replace(trial, markers=hidden))
    assert found["side"].tolist() == ["right", "left", "left", "right", "left", "right", "left"]
    assert found["step_time_s"].notna().tolist() == [True, False, True, True, True, True, False]
    assert found["stride_time_s"].notna().tolist() == [False, False, True, True, True, False, False]


def test_force_missing_for_a_while_costs_that_contact_and_the_step_across() -> None:
    def lose(force: np.ndarray) -> np.ndarray:
        force[1200:1210] = np.nan  # in the fourth contact, 1.15 to 1.40 s
        return force

    for settings_ in ({"force_cutoff_hz": 200}, {"force_cutoff_hz": 50}):
        found = outcomes(with_force(a_trial(), lose), **settings_)
        assert len(found) == 7
        assert found["step_time_s"].notna().tolist() == [True, True, False, True, True, True, False]
        assert found["active_peak_bw"].notna().all()


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
@pytest.mark.parametrize("cutoff_hz", [None, 30.0])
def test_bad_signals_give_an_empty_table_and_no_error(surface: str, cutoff_hz: float | None) -> None:
    trial = a_trial(surface=surface)
    spoilt = {
        "all missing": with_force(trial, lambda force: force * np.nan),
        "all zero": with_force(trial, lambda force: force * 0),
        "always loaded": with_force(trial, lambda force: force + 800.0),
        "turned over": with_force(trial, lambda force: -force),
        "no plates and hidden markers": replace(
            trial, plates=(), markers={role: path * np.nan for role, path in trial.markers.items()}
        ),
        "no plates, no rate, no markers": replace(trial, plates=(), analog_rate_hz=None, markers={}),
        "no markers": replace(trial, markers={}, filled={}, marker_rate_hz=0.0),
        "one sample": cut(trial, 0.2, 0.201),
        "nothing": cut(trial, 0.2, 0.2),
    }
    for name, bad in spoilt.items():
        found = outcomes(bad, force_cutoff_hz=cutoff_hz or 50.0, marker_cutoff_hz=cutoff_hz)
        assert len(found) == 0, name
        assert list(found) == [c.name for c in COLUMNS], name


def test_moments_or_corners_that_are_missing_leave_the_lower_foot_to_tell_the_side() -> None:
    trial = a_trial()
    without = tuple(replace(p, moment=p.moment * np.nan) for p in trial.plates)
    found = outcomes(replace(trial, plates=without))
    assert found["side"].tolist() == ["right", "left"] * 4
    assert found["strike_index_percent"].isna().all()
    nowhere = tuple(replace(p, corners=p.corners * np.nan) for p in trial.plates)
    assert outcomes(replace(trial, plates=nowhere))["side"].tolist() == ["right", "left"] * 4


# ---- no plates


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
def test_without_plates_events_come_from_markers_and_what_needs_force_is_null(surface: str) -> None:
    trial = a_trial(surface=surface, strike_deg=0.0)
    found, expected = outcomes(replace(trial, plates=(), analog_rate_hz=None)), outcomes(trial)
    assert set(found["event_method"]) == {"markers"}
    assert set(expected["event_method"]) == {"force"}
    needs_force = [c for c in FORCE_COLUMNS if "stiffness" not in c] + ["plate_count", "strike_index_percent"]
    assert found[needs_force].isna().all(axis=None)
    # the made-up foot glides along the ground before its first landing, so the first two footfalls are left out
    later = found[found["contact_s"] > 0.75].reset_index(drop=True)
    same_times = expected[expected["contact_s"] > 0.75].reset_index(drop=True)
    assert later["side"].tolist() == same_times["side"].tolist()
    assert later["contact_s"].tolist() == pytest.approx(same_times["contact_s"].tolist(), abs=0.03)
    assert later["stride_time_s"].dropna().tolist() == pytest.approx([0.7] * 4, abs=0.005)
    assert later["stride_length_m"].dropna().tolist() == pytest.approx([2.1] * 4, abs=0.02)
    assert later["foot_strike_angle_deg"].notna().all()


def test_foot_sensors_speak_before_markers() -> None:
    trial = a_trial()
    rate, count = 500.0, 1600
    times = np.arange(count) / rate
    signals = []
    for side, first in (("right", 0.12), ("left", 0.47)):
        closed = np.zeros(count)
        for start in np.arange(first, 2.9, 0.70):
            closed[(times >= start) & (times < start + 0.22)] = 5.0
        signals.append(Signal("foot_sensor", None, side, "V", rate, closed))
    found = outcomes(replace(trial, plates=(), signals=tuple(signals)))
    assert set(found["event_method"]) == {"sensor"}
    assert found["side"].tolist() == ["right", "left"] * 4
    assert found["contact_s"].tolist() == pytest.approx([0.12 + 0.35 * i for i in range(8)], abs=0.002)
    assert found["contact_time_s"].tolist() == pytest.approx([0.22] * 8, abs=0.002)
    assert set(outcomes(replace(trial, signals=tuple(signals)))["event_method"]) == {"force"}


def test_force_that_shows_nothing_is_not_covered_up_by_markers() -> None:
    assert len(outcomes(with_force(a_trial(), lambda force: force * 0))) == 0


def test_feet_that_overlap_leave_no_flight() -> None:
    times = np.arange(3000) / 1000
    signals = []
    for side, first in (("right", 0.1), ("left", 0.45)):
        closed = np.zeros(len(times))
        for start in np.arange(first, 2.4, 0.70):
            closed[(times >= start) & (times < start + 0.38)] = 5.0
        signals.append(Signal("foot_sensor", None, side, "V", 1000.0, closed))
    bouncy = {"sensors": {"switch_closed_level": "high"}}
    found = outcomes(replace(a_trial(), plates=(), signals=tuple(signals)), **bouncy)
    assert found["step_time_s"].notna().sum() == len(found) - 1 > 4
    assert found["flight_time_s"].isna().all()
    assert found["vertical_stiffness_kn_per_m"].isna().all()


# ---- plates


def halves(trial: Trial, numbers: tuple[int, ...]) -> Trial:
    """Each plate of ``numbers`` replaced by two that share its force."""
    plates = []
    for plate in trial.plates:
        shares = (0.5, 0.5) if plate.number in numbers else (1.0,)
        plates += [replace(plate, force=plate.force * s, moment=plate.moment * s) for s in shares]
    return replace(trial, plates=tuple(replace(p, number=i) for i, p in enumerate(plates, 1)))


def test_two_plates_under_one_foot_are_counted_and_give_the_same_outcomes() -> None:
    trial = a_trial(surface="runway", footfalls=3)
    found, expected = outcomes(halves(trial, (2,))), outcomes(trial)
    assert expected["plate_count"].tolist() == [1, 1, 1]
    assert found["plate_count"].tolist() == [1, 2, 1]
    same(found.drop(columns="plate_count"), expected.drop(columns="plate_count"))


def test_a_foot_that_misses_its_plate_is_not_counted_and_no_step_is_made_up() -> None:
    trial = a_trial(surface="runway", footfalls=4)
    found = outcomes(replace(trial, plates=tuple(p for p in trial.plates if p.number != 2)))
    assert found["side"].tolist() == ["right", "right", "left"]
    assert found["step_time_s"].notna().tolist() == [False, True, False]
    assert found["stride_time_s"].isna().all()


def test_noise_of_plates_nobody_stands_on_does_not_move_the_centre_of_pressure() -> None:
    trial = a_trial(surface="runway", footfalls=5)
    rng = np.random.default_rng(5)
    noisy = []
    for plate in trial.plates:
        noise = rng.normal(0, 3, plate.force.shape)
        middle = plate.corners.mean(axis=0)
        noisy.append(replace(plate, force=plate.force + noise, moment=plate.moment + np.cross(middle, noise)))
    found, expected = outcomes(replace(trial, plates=tuple(noisy))), outcomes(trial)
    # 3 N at the 4.2 m between the first and the last plate, over 20 N, would be 60 cm; on its own plate it is a few cm
    shift = (found["strike_index_percent"] - expected["strike_index_percent"]).abs() / 100 * 0.18
    assert shift.max() < 0.03
    assert found["plate_count"].tolist() == [1] * 5


def test_plates_at_another_height_than_the_origin_keep_the_strike_index() -> None:
    trial = a_trial()
    up = np.array([0.0, 0.3, 0.0])
    raised = replace(
        trial,
        markers={role: path + up for role, path in trial.markers.items()},
        plates=tuple(replace(p, corners=p.corners + up, moment=p.moment + np.cross(up, p.force)) for p in trial.plates),
    )
    same(outcomes(raised), outcomes(trial))


def test_foot_length_beyond_the_toe_marker_is_the_study_files() -> None:
    longer, plain = outcomes(a_trial(), strike_index_toe_fraction=1.25), outcomes(a_trial())
    ratio = plain["strike_index_percent"] / longer["strike_index_percent"]
    assert ratio.tolist() == pytest.approx([1.25] * 8)


def test_speed_of_the_belt_is_unknown_when_it_is_not_written_down() -> None:
    found = outcomes(replace(a_trial(), set_speed_m_per_s=None))
    lacking = ["speed_m_per_s", "step_length_m", "stride_length_m", "leg_stiffness_kn_per_m"]
    assert found[lacking].isna().all(axis=None)
    assert found["vertical_stiffness_kn_per_m"].notna().sum() == 7


def test_forces_are_divided_by_the_mass_of_the_day() -> None:
    light, heavy = outcomes(a_trial()), outcomes(replace(a_trial(), mass_kg=140.0))
    assert (light["active_peak_bw"] / heavy["active_peak_bw"]).tolist() == pytest.approx([2.0] * 8)
    assert light["active_peak_bw"][0] * 70 * G == pytest.approx(np.pi / 2 * 70 * G * 0.35 / 0.25, rel=1e-4)


@pytest.mark.parametrize("trial", [a_trial(), a_trial(surface="runway"), a_standing_trial()])
def test_the_table_passes_its_own_definition_and_is_stored_without_loss(trial: Trial) -> None:
    provenance = {"delivery_id": "brack-001", "raw_sha256": "0" * 64, "code_version": "1", "study_version": "1"}
    rows = outcomes(trial).assign(**provenance).astype(dict.fromkeys(provenance, "str"))
    pandera_schema(FOOTFALLS, ordered=True).validate(rows)
    stored = to_arrow_table(FOOTFALLS, rows)
    assert stored.num_rows == len(rows)
    assert stored.column("strike_index_percent").to_pylist() == rows["strike_index_percent"].tolist()
    assert stored.column("impact_peak_bw").null_count == rows["impact_peak_bw"].isna().sum()


def test_peaks_and_loading_rates_are_those_of_the_half_sine_under_a_hum_that_the_filter_takes_off() -> None:
    """In closed form: contact 0.25 s, peak pi/2 x weight x 0.35/0.25, fore-aft -0.15 of it once round; loading 13 %."""
    found = outcomes(hummed(a_trial(), 0.2), force_cutoff_hz=50, event_cutoff_hz=50)
    peak = np.pi / 2 * 0.35 / 0.25
    rise = peak * (np.sin(np.pi * 0.8 * 0.13) - np.sin(np.pi * 0.2 * 0.13)) / (0.6 * 0.13 * 0.25)
    steepest = np.pi * peak / 0.25  # of the half-sine at its start; the filter rounds the corner there
    assert found["active_peak_bw"].tolist() == pytest.approx([peak] * 8, rel=0.005)
    assert found["propulsive_peak_bw"].tolist() == pytest.approx([0.15 * peak] * 8, rel=0.03)
    assert found["braking_peak_bw"].tolist() == pytest.approx([-0.15 * peak] * 8, rel=0.03)
    assert found["average_loading_rate_bw_per_s"].tolist() == pytest.approx([rise] * 8, rel=0.03)
    # unfiltered, a hum of 20 % rises by up to 2 pi 200 Hz x 20 % of the force, which at 10 % of contact is 170 BW/s
    assert (found["instantaneous_loading_rate_bw_per_s"] < 1.05 * steepest).all()
    assert (found["instantaneous_loading_rate_bw_per_s"] >= found["average_loading_rate_bw_per_s"]).all()
