"""Closed forms of what joints' outcomes may be off by, against shaken markers, moved forces and plain levers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipelines.science.equipment.doubt import Doubt
from pipelines.science.joints.doubt import joint_parts
from pipelines.science.joints.outcomes import ANGLES
from pipelines.science.signals.filters import low_pass, white_noise_left
from pipelines.science.workspace import Workspace
from schemas.processing import Processing
from schemas.trial import Trial
from tests.as_frames import compute_joints, footfall_rows_of
from tests.pipelines.science.joint_builders import a_trial_of, both_legs, footfalls_of, standing
from tests.pipelines.science.test_joints import BOTH, LOADED, legs, loaded_leg

SMOOTH = Processing(marker_cutoff_hz=10.0)
NOTHING = Doubt(
    *({}, {}, {}, 0.0, 0.0),
    **dict.fromkeys(
        (
            *("marker_sits_m", "marker_shakes_m", "foot_skin_m", "skin_m"),
            *("plates_sit_m", "horizontal_gain", "crosstalk", "marker_scale"),
        ),
        0.0,
    ),  # type: ignore[arg-type]
)
ONE_STEP = footfalls_of(("right", 0.15, 0.35))


def worth(
    trial: Trial, footfalls: object, doubt: Doubt, events: Mapping[str, tuple[float, float]], settings: Processing
) -> dict[str, dict[str, float]]:
    joints = Workspace(replace(trial, sex="male"), settings, standing()).joints
    return joint_parts(joints, footfall_rows_of(footfalls), doubt, events)


def shaken(trial: Trial, chance: np.random.Generator, sits_m: float, shakes_m: float) -> Trial:
    return replace(
        trial,
        markers={
            name: path + chance.normal(0, sits_m, 3) + chance.normal(0, shakes_m, path.shape)
            for name, path in trial.markers.items()
        },
    )


def spread_of(
    trial: Trial, footfalls: object, settings: Processing, columns: Sequence[str], **size: float
) -> dict[str, float]:
    """Outcome -> root mean square of how far it moves when every marker is off, over 150 draws."""
    chance = np.random.default_rng(4)
    keys = ["footfall_number", "joint", "plane", "angle_against"]

    def values(one: Trial) -> pd.DataFrame:
        return compute_joints(one, footfalls, standing(), settings, "male").set_index(keys)[list(columns)]

    plain = values(trial)
    moved = np.stack([(values(shaken(trial, chance, **size)) - plain).to_numpy() for _ in range(150)])
    squares, found = (moved**2).mean(axis=0), dict[str, float]()
    for at, column in enumerate(columns):
        names = ["/".join([*key[1:], column]) for key in plain.index]
        own = squares[:, at]
        found |= {name: float(np.sqrt(np.mean(own[[n == name for n in names]]))) for name in set(names)}
    return found


def test_angles_move_with_the_markers_as_far_as_is_stated() -> None:
    doubt = replace(NOTHING, marker_sits_m=0.001, marker_shakes_m=0.0005)
    stated = worth(legs(), BOTH, doubt, {}, SMOOTH)["markers"]
    seen = spread_of(legs(), BOTH, SMOOTH, ANGLES, sits_m=0.001, shakes_m=0.0005)
    assert len(seen) == 9 * len(ANGLES)
    for name, by in seen.items():
        assert stated[name] == pytest.approx(by, rel=0.2), name


@pytest.mark.parametrize("size", [{"sits_m": 0.001, "shakes_m": 0.0}, {"sits_m": 0.0, "shakes_m": 0.0004}])
def test_moments_move_with_the_markers_as_far_as_is_stated(size: dict[str, float]) -> None:
    trial = loaded_leg(200.0)
    doubt = replace(NOTHING, marker_sits_m=size["sits_m"], marker_shakes_m=size["shakes_m"])
    stated = worth(trial, ONE_STEP, doubt, {}, LOADED)["markers"]
    seen = spread_of(trial, ONE_STEP, LOADED, ["moment_peak_nm_per_kg"], **size)
    for joint in ("ankle", "knee"):
        name = f"{joint}/sagittal/segment/moment_peak_nm_per_kg"
        assert stated[name] == pytest.approx(seen[name], rel=0.25), joint


def test_skin_that_moves_over_thigh_and_shank_doubts_the_knee_as_bone_pins_say() -> None:
    """Knee between segments of length a and b, ends off by d each: d ((1/a + 1/b)^2 + 1/a^2 + 1/b^2)^(1/2).

    Reinschmidt et al. (1997, J Biomech 30:729) found in running a mean error of 21 % of the range of about 30 degrees.
    """
    stated = worth(legs(), BOTH, replace(NOTHING, foot_skin_m=0.0, skin_m=0.001), {}, SMOOTH)["markers"]
    landmarks = standing().markers
    hip, knee, ankle = (
        landmarks[f"{role}_left"] for role in ("greater_trochanter", "lateral_femoral_epicondyle", "lateral_malleolus")
    )
    thigh, shank = np.linalg.norm(hip - knee), np.linalg.norm(knee - ankle)
    expected = np.degrees(0.001 * np.hypot(1 / thigh + 1 / shank, 1 / thigh))
    name = "knee/sagittal/segment/"
    assert stated[f"{name}angle_peak_deg"] == pytest.approx(expected, rel=0.1)
    # at two moments of a contact it is another, so that it does not cancel in a range
    assert stated[f"{name}angle_range_deg"] == pytest.approx(2**0.5 * expected, rel=0.1)
    usual = worth(legs(), BOTH, Doubt({}, {}, {}, 0.0, 0.0), {}, SMOOTH)["markers"]
    assert 2 < usual[f"{name}angle_peak_deg"] < 0.21 * 30


def test_an_angle_that_turns_evenly_moves_by_its_speed_times_the_time() -> None:
    time = np.arange(200) / 200.0
    bends = np.stack([100 * time, 0 * time, 0 * time], axis=1)
    still = np.zeros((200, 3))
    trial = a_trial_of(both_legs({side: {"hip": still, "knee": bends, "ankle": still} for side in ("left", "right")}))
    events = {"lag": (0.01, 0.01), "level": (0.003, 0.004)}
    found = worth(trial, BOTH, NOTHING, events, Processing())
    name = "knee/sagittal/segment/"
    assert found["lag"][f"{name}angle_at_contact_deg"] == pytest.approx(100 * 0.01)
    assert found["lag"][f"{name}angle_range_deg"] == pytest.approx(0, abs=1e-9)
    assert found["level"][f"{name}angle_at_contact_deg"] == pytest.approx(100 * 0.003)
    assert found["level"][f"{name}angle_peak_deg"] == pytest.approx(100 * 0.004)
    assert found["level"][f"{name}angle_range_deg"] == pytest.approx(100 * 0.005)


def test_moments_move_with_the_plates_as_their_levers_say() -> None:
    """Against inverse dynamics done again on a plate that reads otherwise."""
    trial = loaded_leg(200.0)

    def peaks(one: Trial) -> dict[str, float]:
        rows = compute_joints(one, ONE_STEP, standing(), LOADED, "male")
        return dict(zip(rows["joint"], rows["moment_peak_nm_per_kg"], strict=True))

    def pushed(newtons: float) -> Trial:
        (plate,) = trial.plates
        extra = np.tile([0.0, newtons, 0.0], (len(plate.force), 1))
        moment = plate.moment + np.cross(plate.corners.mean(axis=0), extra)
        return replace(trial, plates=(replace(plate, force=plate.force + extra, moment=moment),))

    def larger(part: float) -> Trial:
        (plate,) = trial.plates
        return replace(
            trial, plates=(replace(plate, force=plate.force * (1 + part), moment=plate.moment * (1 + part)),)
        )

    plain = peaks(trial)
    scale = worth(trial, ONE_STEP, replace(NOTHING, scale=0.02), {}, LOADED)["scale"]
    drift = worth(trial, ONE_STEP, replace(NOTHING, drift_n={1: 12**0.5 * 5}), {}, LOADED)["level"]
    for joint in ("ankle", "knee"):
        name = f"{joint}/sagittal/segment/moment_peak_nm_per_kg"
        assert scale[name] == pytest.approx(abs(peaks(larger(0.02))[joint] - plain[joint]), rel=0.03), joint
        assert drift[name] == pytest.approx(abs(peaks(pushed(5.0))[joint] - plain[joint]), rel=0.03), joint


@pytest.mark.parametrize(
    ("what", "size", "part"),
    [("plates_sit_m", 0.01, "markers"), ("horizontal_gain", 0.05, "scale"), ("crosstalk", 0.02, "scale")],
)
def test_plates_elsewhere_and_horizontal_channels_are_worth_what_inverse_dynamics_then_gives(
    what: str, size: float, part: str
) -> None:
    trial = loaded_leg(200.0)
    (plate,) = trial.plates
    extra = plate.force * [size, 0.0, size] if what == "horizontal_gain" else np.zeros_like(plate.force)
    if what == "crosstalk":
        extra[:, 0] = size * plate.force[:, 1]
    shift = np.array([size if what == "plates_sit_m" else 0.0, 0.0, 0.0])
    moment = plate.moment + np.cross(plate.corners.mean(axis=0), extra) + np.cross(shift, plate.force)
    moved = replace(trial, plates=(replace(plate, force=plate.force + extra, moment=moment),))
    before, after = (compute_joints(one, ONE_STEP, standing(), LOADED, "male") for one in (trial, moved))
    stated = worth(trial, ONE_STEP, replace(NOTHING, **{what: size}), {}, LOADED)[part]
    for joint, by in zip(
        before["joint"], after["moment_peak_nm_per_kg"] - before["moment_peak_nm_per_kg"], strict=True
    ):
        if joint != "hip":
            name = f"{joint}/sagittal/segment/moment_peak_nm_per_kg"
            assert stated[name] == pytest.approx(abs(by), rel=0.06, abs=0.002), joint


def test_a_late_force_is_worth_what_inverse_dynamics_then_gives() -> None:
    trial = loaded_leg(200.0)
    (plate,) = trial.plates
    late = replace(
        trial, plates=(replace(plate, force=np.roll(plate.force, 6, axis=0), moment=np.roll(plate.moment, 6, axis=0)),)
    )
    before, after = (compute_joints(one, ONE_STEP, standing(), LOADED, "male") for one in (trial, late))
    moved = np.abs(after["moment_peak_nm_per_kg"] - before["moment_peak_nm_per_kg"])
    stated = worth(trial, ONE_STEP, replace(NOTHING, lag_s=0.006), {}, LOADED)["lag"]
    for joint, by in zip(before["joint"], moved, strict=True):
        if joint != "hip":
            assert stated[f"{joint}/sagittal/segment/moment_peak_nm_per_kg"] == pytest.approx(by, abs=0.01), joint


def test_what_a_filter_leaves_of_noise_is_what_is_said_of_it() -> None:
    noise = np.random.default_rng(5).normal(0, 1, 60_000)
    place, jolt = white_noise_left(2, 12.0, 200.0)
    left = low_pass(noise, 200.0, 12.0)
    assert place == pytest.approx(left.std(), rel=0.03)
    assert jolt == pytest.approx((np.diff(left, 2) * 200.0**2).std(), rel=0.03)
    assert white_noise_left(2, None, 200.0) == pytest.approx((1.0, 6**0.5 * 200.0**2), rel=1e-6)


def test_a_leg_without_a_posture_states_nothing_of_angles_it_does_not_know() -> None:
    joints = Workspace(legs(), SMOOTH, None).joints
    doubt = replace(NOTHING, marker_sits_m=0.001)
    found = joint_parts(joints, footfall_rows_of(BOTH), doubt, {"lag": (0.01, 0.01)})
    assert not any(np.isfinite(value) for part in found.values() for value in part.values())
