"""Which way a runner faces, from lines across the pelvis: when it is known, and when it is better not to say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.science.joints.anatomy import (
    Anatomy,
    across_pelvis,
    degrees_from_forward,
)
from tests.checks.marker_builders import a_person, a_runner, labels_exchanged

FORWARD, RIGHT = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])


def test_a_vector_is_the_median_over_frames_in_which_both_are_seen() -> None:
    start = np.zeros((5, 3))
    end = np.array([[1.0, 2, 3], [1, 2, 3], [9, 9, 9], [np.nan, 2, 3], [1, 2, 3]])
    np.testing.assert_array_equal(Anatomy({"a": start, "b": end}).vector("a", "b"), [1, 2, 3])
    assert Anatomy({"a": start, "b": end * np.nan}).vector("a", "b") is None
    assert Anatomy({"a": start[:3], "b": end}).vector("a", "b") is None
    assert Anatomy({"b": end}).median_height("b") == 2


@pytest.mark.parametrize("build", [a_runner, a_person])
def test_the_runner_faces_forward_with_the_right_side_on_the_right(build) -> None:
    way = Anatomy(build().markers).facing
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
    assert Anatomy(markers).pelvis_faces() is None
    assert Anatomy(markers).facing.ahead is not None  # the feet tell


PELVIS_FRONT = ("anterior_superior_iliac_spine", "greater_trochanter")


def test_without_pelvis_and_feet_nothing_is_claimed() -> None:
    way = Anatomy({"lateral_malleolus_left": np.zeros((10, 3))}).facing
    assert way.ahead is None
    assert way.handed == 0
    assert not way.sides_are_turned
    assert Anatomy({}).to_the_right() is None


@pytest.mark.parametrize(
    ("direction", "degrees"), [([1, 0, 0], 0), ([0, 0, 1], 90), ([0, 0, -1], 90), ([-1, 0, 0], 180)]
)
def test_the_angle_from_forward_has_no_side(direction: list[float], degrees: float) -> None:
    assert degrees_from_forward(np.array(direction, float)) == pytest.approx(degrees)


def test_an_exchange_spoils_the_foot_or_the_joint_it_is_on_and_nothing_else() -> None:
    trial = a_person()
    assert Anatomy(trial.markers).mislabelled("left") == set()
    foot = labels_exchanged(trial, "second_metatarsal_head_left", "fifth_metatarsal_head_left").markers
    assert "calcaneus" in Anatomy(foot).mislabelled("left")
    assert "lateral_malleolus" not in Anatomy(foot).mislabelled("left")
    assert Anatomy(foot).mislabelled("right") == set()
    leg = labels_exchanged(trial, "lateral_malleolus_left", "lateral_femoral_epicondyle_left").markers
    assert {"lateral_malleolus", "lateral_femoral_epicondyle"} <= Anatomy(leg).mislabelled("left")
    assert "calcaneus" not in Anatomy(leg).mislabelled("left")


def test_a_pelvis_with_front_and_back_exchanged_contradicts_the_feet_and_is_no_mirror() -> None:
    trial = a_person()
    for side in ("left", "right"):
        front, back = f"anterior_superior_iliac_spine_{side}", f"posterior_superior_iliac_spine_{side}"
        trial = replace(labels_exchanged(trial, front, back))
    way = Anatomy(trial.markers).facing
    assert way.pelvis is not None
    assert way.pelvis @ FORWARD < 0
    assert all(foot @ way.pelvis < 0 for foot in way.feet.values())
