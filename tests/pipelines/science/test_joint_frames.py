"""Angles in space: frames turned by scipy come back, and each sign means what the body does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pipelines.science.joints import frames as joint_frames
from pipelines.science.joints.landmarks import Landmarks, seen
from schemas.processing import Processing
from tests.pipelines.science.joint_builders import HIP_CENTRE, MIRROR, STRAIGHT, both_legs, leg

SIDES = st.sampled_from(["left", "right"])
FLEXION, SIDEWAYS = st.floats(-170, 170), st.floats(-80, 80)
TURN = st.tuples(FLEXION, SIDEWAYS, FLEXION)
ANATOMY = st.fixed_dictionaries({joint: st.tuples(st.floats(-100, 100), SIDEWAYS, SIDEWAYS) for joint in STRAIGHT})
PAIRS = {"hip": ("pelvis", "thigh"), "knee": ("thigh", "shank"), "ankle": ("shank", "foot")}


def frames_of(angles: dict, side: str, pelvis_turn: Rotation | None = None) -> dict[str, np.ndarray]:
    both = both_legs({"left": angles, "right": angles}, pelvis_turn)
    return Landmarks(both, side, Processing(), seen(both)).frames()


@given(TURN, TURN)
def test_turns_between_two_frames_are_scipys(first: tuple, turn: tuple) -> None:
    proximal = Rotation.from_euler("ZXY", first, degrees=True)
    distal = proximal * Rotation.from_euler("ZXY", turn, degrees=True)
    found = joint_frames.rotations(proximal.as_matrix(), distal.as_matrix())
    assert found == pytest.approx(np.array(turn), abs=1e-6)


@given(ANATOMY, SIDES, TURN)
def test_joint_angles_come_back_from_the_landmarks_of_either_leg_however_the_pelvis_is_turned(
    angles: dict, side: str, pelvis: tuple
) -> None:
    frames = frames_of(angles, side, Rotation.from_euler("ZXY", pelvis, degrees=True))
    for joint, (proximal, distal) in PAIRS.items():
        turns = joint_frames.rotations(frames[proximal], frames[distal])
        assert joint_frames.anatomical(turns, joint, side)[0] == pytest.approx(np.array(angles[joint]), abs=1e-6)


@given(ANATOMY, SIDES)
def test_every_frame_is_right_handed_and_rigid(angles: dict, side: str) -> None:
    frames = frames_of(angles, side)
    assert set(frames) == {"pelvis", "thigh", "shank", "foot"}
    for frame in frames.values():
        assert frame[0].T @ frame[0] == pytest.approx(np.eye(3), abs=1e-9)
        assert np.linalg.det(frame[0]) == pytest.approx(1.0)


@pytest.mark.parametrize("side", ["left", "right"])
def test_standing_straight_every_frame_points_forward_up_and_right(side: str) -> None:
    for frame in frames_of(STRAIGHT, side).values():
        assert frame[0] == pytest.approx(np.eye(3), abs=1e-9)


def measured(markers: dict[str, np.ndarray], joint: str, side: str) -> np.ndarray:
    frames = Landmarks(markers, side, Processing(), seen(markers)).frames()
    proximal, distal = PAIRS[joint]
    return joint_frames.anatomical(joint_frames.rotations(frames[proximal], frames[distal]), joint, side)[0]


def moved(side: str, roles: tuple[str, ...], pivot: str, turn: Rotation) -> dict[str, np.ndarray]:
    """A straight leg with some markers carried round a pivot by a turn given for the right side."""
    if side == "left":  # the same movement of the body, mirrored: turns about X and Y change sign
        turn = Rotation.from_rotvec(turn.as_rotvec() * [-1, -1, 1])
    marks = both_legs({"left": STRAIGHT, "right": STRAIGHT})
    centre = (marks[f"lateral_{pivot}_{side}"] + marks[f"medial_{pivot}_{side}"]) / 2
    return marks | {f"{r}_{side}": centre + turn.apply(marks[f"{r}_{side}"] - centre) for r in roles}


FOOT = ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head", "first_metatarsal_head")


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    ("plane", "axis", "says"),
    [
        (0, [0, 0, 10], lambda m, s: m[f"second_metatarsal_head_{s}"][0, 1] > m[f"calcaneus_{s}"][0, 1]),  # toes up
        # inverted: the inner edge of the foot is lifted
        (1, [10, 0, 0], lambda m, s: m[f"first_metatarsal_head_{s}"][0, 1] > m[f"fifth_metatarsal_head_{s}"][0, 1]),
        # turned in: the toes are nearer to the middle than the heel
        (2, [0, 10, 0], lambda m, s: abs(m[f"second_metatarsal_head_{s}"][0, 2]) < abs(m[f"calcaneus_{s}"][0, 2])),
    ],
)
def test_dorsiflexion_inversion_and_internal_rotation_of_the_foot_are_positive(plane, axis, says, side) -> None:
    marks = moved(side, FOOT, "malleolus", Rotation.from_rotvec(axis, degrees=True))
    assert says(marks, side)
    expected = np.zeros(3)
    expected[plane] = 10.0
    assert measured(marks, "ankle", side) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_flexion_and_adduction_of_the_knee_are_positive(side: str) -> None:
    shank = ("lateral_malleolus", "medial_malleolus")
    # the tibial line is drawn from the epicondyles, which the turn leaves in place, so the angle is the turn itself
    bent = moved(side, shank, "femoral_epicondyle", Rotation.from_rotvec([0, 0, -10], degrees=True))
    assert bent[f"lateral_malleolus_{side}"][0, 0] < 0.0 + HIP_CENTRE[0]  # behind the knee
    assert measured(bent, "knee", side) == pytest.approx([10.0, 0.0, 0.0], abs=1e-6)
    inward = moved(side, shank, "femoral_epicondyle", Rotation.from_rotvec([10, 0, 0], degrees=True))
    straight = leg(STRAIGHT, side)
    middle = {name: abs(m[f"medial_malleolus_{side}"][0, 2]) for name, m in (("moved", inward), ("straight", straight))}
    assert middle["moved"] < middle["straight"]
    assert measured(inward, "knee", side) == pytest.approx([0.0, 10.0, 0.0], abs=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_hip_joint_centre_is_harringtons(side: str) -> None:
    # PW 240 mm, PD 160 mm by hand: X -48.3, Y -82.9, Z 86.5 mm
    front = np.array([[0.0, 0.0, -0.12]]), np.array([[0.0, 0.0, 0.12]])
    found = joint_frames.hip_centre(*front, np.array([[-0.16, 0.0, 0.0]]), side)
    assert found[0] == pytest.approx(np.array([-0.0483, -0.0829, 0.0865]) * (1 if side == "right" else MIRROR))


def test_two_landmarks_in_one_place_make_no_frame_and_no_warning() -> None:
    point = np.zeros((1, 3))
    assert np.isnan(joint_frames.thigh_frame(point, point, point, "right")).all()
