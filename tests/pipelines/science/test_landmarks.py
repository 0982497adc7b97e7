"""Which way a runner faces, from lines across the pelvis: when it is known, and when it is better not to say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.science.joints.anatomy import (
    across_pelvis,
    degrees_from_forward,
    facing,
    median_height,
    mislabelled,
    pelvis_faces,
    to_the_right,
    vector,
)
from tests.checks.marker_builders import a_person, a_runner, labels_exchanged

FORWARD, RIGHT = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])


def test_a_vector_is_the_median_over_frames_in_which_both_are_seen() -> None:
    start = np.zeros((5, 3))
    end = np.array([[1.0, 2, 3], [1, 2, 3], [9, 9, 9], [np.nan, 2, 3], [1, 2, 3]])
    np.testing.assert_array_equal(vector({"a": start, "b": end}, "a", "b"), [1, 2, 3])
    assert vector({"a": start, "b": end * np.nan}, "a", "b") is None
    assert vector({"a": start[:3], "b": end}, "a", "b") is None
    assert median_height({"b": end}, "b") == 2


@pytest.mark.parametrize("build", [a_runner, a_person])
def test_the_runner_faces_forward_with_the_right_side_on_the_right(build) -> None:
    way = facing(build().markers)
    assert way.pelvis is not None
    assert way.right is not None
    np.testing.assert_allclose(way.pelvis, FORWARD, atol=0.01)
    np.testing.assert_allclose(way.right, RIGHT, atol=0.01)
    assert way.handed == pytest.approx(1.0, abs=1e-3)


def test_a_line_that_points_everywhere_has_no_direction() -> None:
    a = np.linspace(0, 2 * np.pi, 100, endpoint=False)
    around = 0.2 * np.stack([np.cos(a), 0 * a, np.sin(a)], axis=1)
    assert np.linalg.norm(across_pelvis(around)) < 1e-9
    half = np.where(np.arange(100)[:, None] % 2, [0.2, 0.0, 0.0], [0.0, 0.0, 0.2])  # a quarter turn to and fro
    assert np.linalg.norm(across_pelvis(half)) == pytest.approx(np.sqrt(0.5))


def test_a_line_that_changes_its_length_does_not_lie_across_a_pelvis() -> None:
    line = np.outer(np.linspace(0.2, 0.3, 100), FORWARD)
    assert not across_pelvis(line).any()
    assert across_pelvis(np.outer(np.linspace(0.2, 0.25, 100), FORWARD)).any()


def test_a_pelvis_marker_that_rides_on_a_foot_tells_no_direction() -> None:
    trial = a_runner()
    riding = {f"{role}_{s}": trial.markers[f"calcaneus_{s}"] for role in PELVIS_FRONT for s in ("left", "right")}
    markers = {**trial.markers, **riding}
    assert pelvis_faces(markers) is None
    assert facing(markers).ahead is not None  # the feet tell


PELVIS_FRONT = ("anterior_superior_iliac_spine", "greater_trochanter")


def test_without_pelvis_and_feet_nothing_is_claimed() -> None:
    way = facing({"lateral_malleolus_left": np.zeros((10, 3))})
    assert way.ahead is None
    assert way.handed == 0
    assert not way.sides_are_turned
    assert to_the_right({}) is None


@pytest.mark.parametrize(
    ("direction", "degrees"), [([1, 0, 0], 0), ([0, 0, 1], 90), ([0, 0, -1], 90), ([-1, 0, 0], 180)]
)
def test_the_angle_from_forward_has_no_side(direction: list[float], degrees: float) -> None:
    assert degrees_from_forward(np.array(direction, float)) == pytest.approx(degrees)


def test_an_exchange_spoils_the_foot_or_the_joint_it_is_on_and_nothing_else() -> None:
    trial = a_person()
    assert mislabelled(trial.markers, "left") == set()
    foot = labels_exchanged(trial, "second_metatarsal_head_left", "fifth_metatarsal_head_left").markers
    assert "calcaneus" in mislabelled(foot, "left")
    assert "lateral_malleolus" not in mislabelled(foot, "left")
    assert mislabelled(foot, "right") == set()
    leg = labels_exchanged(trial, "lateral_malleolus_left", "lateral_femoral_epicondyle_left").markers
    assert {"lateral_malleolus", "lateral_femoral_epicondyle"} <= mislabelled(leg, "left")
    assert "calcaneus" not in mislabelled(leg, "left")


def test_a_pelvis_with_front_and_back_exchanged_contradicts_the_feet_and_is_no_mirror() -> None:
    trial = a_person()
    for side in ("left", "right"):
        front, back = f"anterior_superior_iliac_spine_{side}", f"posterior_superior_iliac_spine_{side}"
        trial = replace(labels_exchanged(trial, front, back))
    way = facing(trial.markers)
    assert way.pelvis is not None
    assert way.pelvis @ FORWARD < 0
    assert all(foot @ way.pelvis < 0 for foot in way.feet.values())
