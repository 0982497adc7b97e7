from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.joints.angles import ankle_dorsiflexion, direction, hip_flexion, knee_flexion, wrapped

DEG = st.floats(-179, 179)


def at(angle_deg: float) -> np.ndarray:
    return np.array([[np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg)), 0.0]])


@given(DEG)
def test_a_direction_comes_back_whatever_the_length_and_the_sideways_lean(angle: float) -> None:
    start = np.array([[0.3, -0.2, 0.1]])
    assert direction(start, start + 0.4 * at(angle) + [0, 0, 0.2]) == pytest.approx(angle, abs=1e-9)


def test_a_right_angle_at_the_ankle_and_a_straight_leg_are_zero() -> None:
    upright = np.array([90.0])
    assert ankle_dorsiflexion(np.array([180.0]), upright) == pytest.approx(0.0)
    assert knee_flexion(upright, upright) == pytest.approx(0.0)
    assert hip_flexion(upright) == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("toe", "shin_top", "sign"),
    [
        ((0.2, 0.05), (0.0, 0.4), +1),  # toes up
        ((0.2, -0.05), (0.0, 0.4), -1),  # toes down
        ((0.2, 0.0), (0.1, 0.4), +1),  # shin leaning forward over a flat foot
    ],
)
def test_dorsiflexion_is_toes_towards_the_shin(toe: tuple, shin_top: tuple, sign: int) -> None:
    heel = ankle = np.zeros((1, 3))
    foot = direction(np.array([[*toe, 0.0]]), heel)
    assert np.sign(ankle_dorsiflexion(foot, direction(ankle, np.array([[*shin_top, 0.0]])))) == sign


def test_a_thigh_lifted_forward_is_flexed_and_a_pelvis_tipped_forward_flexes_it_more() -> None:
    thigh = direction(np.array([[0.2, -0.35, 0.0]]), np.zeros((1, 3)))  # knee in front of the hip
    tipped = direction(np.zeros((1, 3)), np.array([[0.2, -0.04, 0.0]]))  # front of the pelvis lower than its back
    assert hip_flexion(thigh) == pytest.approx(np.degrees(np.arctan(0.2 / 0.35)))
    assert hip_flexion(thigh, tipped) == pytest.approx(hip_flexion(thigh) + np.degrees(np.arctan(0.2)))


def test_a_heel_pulled_up_behind_is_a_bent_knee() -> None:
    hip, knee, ankle = np.array([[0, 0.4, 0]]), np.zeros((1, 3)), np.array([[-0.4, 0.0, 0]])
    assert knee_flexion(direction(knee, hip), direction(ankle, knee)) == pytest.approx(90.0)


@given(st.floats(-2000, 2000))
def test_wrapping_changes_an_angle_by_whole_turns_only(angle: float) -> None:
    assert -180 <= wrapped(np.array(angle)) < 180
    assert np.cos(np.radians(wrapped(np.array(angle)))) == pytest.approx(np.cos(np.radians(angle)), abs=1e-9)


def test_a_hidden_marker_makes_no_angle() -> None:
    assert np.isnan(direction(np.full((1, 3), np.nan), np.zeros((1, 3)))).all()
