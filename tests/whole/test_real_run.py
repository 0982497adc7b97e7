"""A real running trial (../shared/real_run) the whole way: file, plates, axes, events, outcomes, in four encodings."""

import json
from pathlib import Path

import numpy as np
import pytest

from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.to_trial import TrialRow, posture_of, to_trial
from pipelines.lab.look import look, render_look
from schemas.mechanics import centre_of_pressure, free_moment
from schemas.processing import Processing
from schemas.study import SiteProfile
from tests.as_frames import compute_footfalls, compute_trial_outcomes

FOLDER = Path(__file__).parents[2].parent / "shared" / "real_run"
pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"{FOLDER} is not on this machine")
TRUTH = json.loads((FOLDER / "truth.json").read_text()) if FOLDER.is_dir() else {}
CONTACTS = {c["side"]: c for c in TRUTH.get("contacts", [])}
MASS_KG = 72.84
G = 9.80665
WEIGHT_N = MASS_KG * G

#: file, axes of its lab, and how far it may be from the reference: force N, centre of pressure m, free moment N.m
#: (roundtrip_check.json: exact for floats, the steps of 16-bit storage for the integer file)
VARIANTS = {
    "float": ("run.c3d", ("+x", "+y", "+z"), (1e-4, 1e-6, 1e-5)),
    "big_endian": ("variants/run_mips_float.c3d", ("+x", "+y", "+z"), (1e-4, 1e-6, 1e-5)),
    "z_up_metres": ("variants/run_zup_m.c3d", ("+x", "+z", "-y"), (1e-4, 1e-6, 1e-5)),
    "dec_integers": ("variants/run_dec_int.c3d", ("+x", "+y", "+z"), (0.032, 0.00041, 0.0187)),
}
#: The truth was computed from force as it was recorded: at 300 Hz this leaves it as it is to four figures.
UNFILTERED = Processing(force_cutoff_hz=149.9)
LABELS = {
    "calcaneus": "CAL",
    "second_metatarsal_head": "TOE",
    "fifth_metatarsal_head": "MT5",
    "anterior_superior_iliac_spine": "ASI",
    "posterior_superior_iliac_spine": "PSI",
}


def profile(axes=("+x", "+y", "+z")):
    return SiteProfile(
        site="teaching",
        surface="runway",
        axes=dict(zip(("forward", "up", "right"), axes, strict=True)),
        marker_rate_hz=150,
        force_rate_hz=300,
        plate_types=(2, 2),
        markers={
            f"{role}_{side}": side[0].upper() + label for role, label in LABELS.items() for side in ("left", "right")
        },
    )


def trial_of(file, axes=("+x", "+y", "+z"), kind="running"):
    row = TrialRow(Path(file).stem, "teaching", kind, "shod", "runway", session_id="S1", mass_kg=MASS_KG)
    return to_trial(read_c3d(FOLDER / file), profile(axes), Processing(), row)


@pytest.fixture(scope="module", params=VARIANTS, ids=list(VARIANTS))
def variant(request):
    file, axes, tolerances = VARIANTS[request.param]
    return trial_of(file, axes), tolerances


@pytest.fixture(scope="module")
def posture():
    return posture_of(trial_of("static.c3d", kind="standing"))


@pytest.fixture(scope="module")
def footfalls(posture):
    return compute_footfalls(trial_of("run.c3d"), UNFILTERED, posture).set_index("side")


def test_force_pressure_point_and_free_moment_are_the_published_ones(variant):
    trial, (force_n, metre, newton_metre) = variant
    published = np.genfromtxt(FOLDER / "grf_reference.csv", delimiter=",", names=True)
    for plate, side in zip(trial.plates, ("right", "left"), strict=True):
        expected = np.column_stack([published[f"{side}_f{axis}_n"] for axis in "xyz"])
        size = len(expected)  # the file holds one sample more than the published table, to fill its last frame
        assert 0 <= len(plate.force) - size <= 1
        np.testing.assert_allclose(plate.force[:size], expected, atol=force_n)
        cop = centre_of_pressure(plate.force, plate.moment, 0.0, 20.0)[:size]
        valid = published[f"{side}_cop_valid"].astype(bool) & np.isfinite(cop).all(axis=1)
        assert valid.sum() == CONTACTS[side]["samples_at_or_above_threshold"]
        np.testing.assert_allclose(cop[valid, 0], published[f"{side}_copx_m"][valid], atol=metre)
        np.testing.assert_allclose(cop[valid, 2], published[f"{side}_copz_m"][valid], atol=metre)
        turning = free_moment(plate.force[:size], plate.moment[:size], cop)
        published_turning = published[f"{side}_free_moment_y_nm"]
        np.testing.assert_allclose(turning[valid], published_turning[valid], atol=newton_metre)


def test_markers_are_where_the_truth_says_at_contact(variant):
    trial, _ = variant
    contact = CONTACTS["left"]
    frame = contact["nearest_marker_frame"] - 1
    places = [frame - 1, frame, frame + 1]
    for role in ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head"):
        label = "L" + LABELS[role]
        expected = np.array(contact["markers_as_labelled_at_nearest_frame_mm"][label]) / 1000
        seen = trial.markers[f"{role}_left"][places]
        assert np.abs(seen - expected).max(axis=1).min() < 1e-4


@pytest.mark.parametrize("side", ["right", "left"])
def test_contacts_times_and_impulses_are_those_of_the_truth(footfalls, side):
    seen, known = footfalls.loc[side], CONTACTS[side]
    assert seen["contact_s"] == pytest.approx(known["contact_start_s"], abs=1e-5)
    assert seen["toe_off_s"] == pytest.approx(known["contact_end_s"], abs=1e-5)
    assert seen["contact_time_s"] == pytest.approx(known["contact_time_s"], abs=1e-5)
    assert seen["vertical_impulse_bw_s"] * WEIGHT_N == pytest.approx(known["vertical_impulse_Ns"], abs=0.01)
    net = seen["net_fore_aft_impulse_bw_s"] * WEIGHT_N
    assert net == pytest.approx(known["anteroposterior_impulse_Ns"], abs=0.05)
    assert seen["active_peak_bw"] * WEIGHT_N == pytest.approx(known["peak_vertical_force_N"], rel=1e-4)
    assert seen["braking_peak_bw"] * WEIGHT_N == pytest.approx(known["braking_peak_N"], abs=0.01)
    assert seen["propulsive_peak_bw"] * WEIGHT_N == pytest.approx(known["propulsive_peak_N"], abs=0.01)
    mean = seen["mean_vertical_force_bw"] * WEIGHT_N
    assert mean == pytest.approx(known["mean_vertical_force_in_contact_N"], rel=1e-3)


def test_the_step_the_flight_and_the_speed_are_those_of_the_truth(footfalls):
    assert list(footfalls.index) == ["right", "left"]
    assert footfalls.loc["right", "step_time_s"] == pytest.approx(TRUTH["step_time_right_to_left_s"], abs=1e-5)
    flight = TRUTH["flight_time_right_off_to_left_on_s"]
    assert footfalls.loc["right", "flight_time_s"] == pytest.approx(flight, abs=1e-5)
    np.testing.assert_allclose(footfalls["speed_m_per_s"], TRUTH["speed"]["along_x_m_s"], atol=0.001)


def test_neither_foot_has_an_impact_peak_since_the_first_maximum_of_the_left_comes_too_late(footfalls):
    left = CONTACTS["left"]
    assert left["first_peak_time_s"] - left["contact_start_s"] > 0.05
    assert footfalls["impact_peak_bw"].isna().all()
    assert footfalls["active_peak_bw"].notna().all()


def test_the_strike_angle_of_the_foot_with_right_labels_is_that_of_the_truth(footfalls):
    known = CONTACTS["left"]["foot_angle"]["heel_to_LTOE"]["relative_to_static_deg"]
    assert footfalls.loc["left", "foot_strike_angle_deg"] == pytest.approx(known, abs=0.05)


def test_the_standing_foot_is_that_of_the_truth(posture):
    foot = posture.markers["second_metatarsal_head_left"] - posture.markers["calcaneus_left"]
    angle = np.degrees(np.arctan2(foot[1], np.hypot(foot[0], foot[2])))
    assert angle == pytest.approx(CONTACTS["left"]["foot_angle"]["heel_to_LTOE"]["static_deg"], abs=1e-3)


def test_every_encoding_gives_the_same_outcomes(variant, footfalls, posture):
    trial, _ = variant
    other = compute_footfalls(trial, Processing(), posture).set_index("side")
    for name, tolerance in (
        ("contact_s", 1e-5),
        ("contact_time_s", 2e-5),
        ("vertical_impulse_bw_s", 1e-5),
        ("net_fore_aft_impulse_bw_s", 1e-4),
        ("active_peak_bw", 1e-4),
        ("foot_strike_angle_deg", 0.06),
        ("speed_m_per_s", 1e-4),
    ):
        np.testing.assert_allclose(other[name], footfalls[name], atol=tolerance, err_msg=name)


def test_body_mass_from_the_mean_vertical_force_is_within_five_percent(variant):
    trial, _ = variant
    mass = compute_trial_outcomes(trial, Processing(), None)["mass_from_force_kg"]
    assert mass == pytest.approx(MASS_KG, rel=0.05)
    assert mass == pytest.approx(TRUTH["stride"]["mass_from_two_equal_steps_kg"], rel=0.005)


def test_the_exchanged_labels_of_the_right_foot_are_in_the_trial_as_recorded(variant):
    trial, _ = variant
    toe = trial.markers["second_metatarsal_head_right"][:, 0]
    fifth = trial.markers["fifth_metatarsal_head_right"][:, 0]
    frames = np.flatnonzero(toe < fifth) + 1
    assert frames.tolist() == TRUTH["marker_exchange"]["frames_1_based"]


@pytest.fixture(scope="module")
def profile_file(tmp_path_factory):
    import yaml

    path = tmp_path_factory.mktemp("profile") / "teaching.yaml"
    path.write_text(yaml.safe_dump(profile().model_dump(mode="json", exclude_none=True)))
    return path


def test_a_look_with_outcomes_tells_the_same_without_a_study_and_estimates_the_mass(profile_file):
    seen = look(FOLDER / "run.c3d", profile=profile_file, standing=FOLDER / "static.c3d", outcomes=True)
    assert [f["side"] for f in seen["footfalls"]] == ["right", "left"]
    for footfall in seen["footfalls"]:
        known = CONTACTS[footfall["side"]]
        assert footfall["contact_s"] == pytest.approx(known["contact_start_s"], abs=1e-5)
        assert footfall["toe_off_s"] == pytest.approx(known["contact_end_s"], abs=1e-5)
    assert seen["trial"]["mass_source"] == "force"
    assert seen["trial"]["mass_used_kg"] == pytest.approx(MASS_KG, rel=0.05)
    assert seen["footfalls"][0]["impact_peak_bw"] is None
    assert seen["footfalls"][1]["strike_class_by_angle"] == "forefoot"
    assert json.loads(json.dumps(seen, allow_nan=False)) == seen
    assert "from the mean vertical force" in render_look(seen)


def test_a_look_with_a_given_mass_uses_it(profile_file):
    seen = look(FOLDER / "run.c3d", profile=profile_file, mass_kg=MASS_KG, outcomes=True)
    assert (seen["trial"]["mass_used_kg"], seen["trial"]["mass_source"]) == (MASS_KG, "given")
    peak = seen["footfalls"][0]["active_peak_bw"] * WEIGHT_N
    assert peak == pytest.approx(CONTACTS["right"]["peak_vertical_force_N"], rel=1e-4)
    assert seen["footfalls"][0]["foot_strike_angle_deg"] is None
