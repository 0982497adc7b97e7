"""Checks of the space the markers are in: planted mirrors and turns, what must not be taken for one, a real runner."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest

from schemas.trial import Trial
from tests.builders import with_force
from tests.checks.marker_builders import a_person, a_runner, all_markers, labels_exchanged
from tests.checks.real_runner import needs_real_run, real_context
from tests.checks.running_checks import Case, of_trial, run, status, with_plates

MIRROR, FORWARDS, PLATES = "coordinates_are_right_handed", "runner_runs_forwards", "foot_markers_meet_the_plates"
SIDES = "left_and_right_are_on_their_sides"


def turned(trial: Trial, degrees: float) -> Trial:
    """Turned about the vertical."""
    a = np.radians(degrees)
    turn = np.array([[np.cos(a), 0, -np.sin(a)], [0, 1, 0], [np.sin(a), 0, np.cos(a)]])
    return all_markers(trial, lambda path: path @ turn)


def backwards(trial: Trial) -> Trial:
    """The frames in reverse order."""
    return all_markers(trial, lambda path: path[::-1])


def sunk(trial: Trial, metres: float) -> Trial:
    return with_plates(trial, lambda plate: replace(plate, corners=plate.corners - [0.0, metres, 0.0]))


PLANTED = {
    MIRROR: Case(lambda: of_trial(all_markers(a_runner(), lambda path: path * [-1, 1, 1])), "axes"),
    FORWARDS: Case(lambda: of_trial(turned(a_runner(), 90)), "running direction"),
    PLATES: Case(lambda: of_trial(sunk(a_runner(), 0.15)), "height of the force plates"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(a_runner()))


@pytest.mark.parametrize("kind", [a_runner, a_person])
def test_every_mirrored_export_is_told_once_and_no_turned_one_as_a_mirror(kind) -> None:
    """All 24 ways to name three level axes: up stays up, the others change places and signs."""
    for order, signs in product(permutations([0, 2]), product([-1, 1], repeat=2)):
        columns = [order[0], 1, order[1]]
        sign = np.array([signs[0], 1, signs[1]])
        trial = all_markers(kind(), lambda path, c=columns, s=sign: path[:, c] * s)
        mirrored = np.linalg.det(np.eye(3)[columns] * sign[:, None]) < 0
        told = {name for name in (MIRROR, SIDES) if status(name, of_trial(trial)) == "found"}
        if mirrored:
            assert told  # with the right-hand axis turned round it looks like exchanged sides, and is told as that
        else:
            assert MIRROR not in told


def test_a_heel_and_toes_exchanged_on_both_feet_are_no_mirror() -> None:
    trial = a_person()
    for side in ("left", "right"):
        trial = labels_exchanged(trial, f"calcaneus_{side}", f"second_metatarsal_head_{side}")
    assert status(MIRROR, of_trial(trial)) == "pass"
    assert len(run("toes_are_ahead_of_heels", of_trial(trial)).findings) == 2


@pytest.mark.parametrize(("degrees", "expected"), [(40, "pass"), (-40, "pass"), (50, "found"), (-90, "found")])
def test_a_runner_may_cross_the_runway_a_little(degrees: float, expected: str) -> None:
    assert status(FORWARDS, of_trial(turned(a_runner(), degrees))) == expected


def test_a_runner_turned_half_round_has_wrong_axes_and_no_exchanged_labels() -> None:
    """To exchange the labels of left and right would spoil them: the whole body faces backwards."""
    trial = turned(a_runner(), 180)
    (finding,) = run(FORWARDS, of_trial(trial)).findings
    assert "faces 180 degrees" in finding.seen
    assert status(SIDES, of_trial(trial)) == "pass"


def test_exchanged_labels_of_all_sides_are_still_exchanged_labels() -> None:
    trial = a_runner()
    for role in {role.removesuffix("_left") for role in trial.markers if role.endswith("_left")}:
        trial = labels_exchanged(trial, f"{role}_left", f"{role}_right")
    assert status(SIDES, of_trial(trial)) == "found"
    assert status(FORWARDS, of_trial(trial)) == "pass"


@pytest.mark.parametrize(
    ("degrees", "expected"), [(0, "pass"), (30, "pass"), (60, "found"), (90, "found"), (180, "found")]
)
def test_a_person_is_upright_whatever_the_unit(degrees: float, expected: str) -> None:
    """A lean of 30 degrees is posture; what is upright does not depend on a wrong unit."""
    around = np.radians(degrees)
    lean = np.array([[np.cos(around), -np.sin(around), 0.0], [np.sin(around), np.cos(around), 0.0], [0.0, 0.0, 1.0]])
    for factor in (1.0, 0.001, 25.4):
        trial = all_markers(a_person(), lambda path, factor=factor: factor * path @ lean.T)
        assert status("runner_is_upright", of_trial(trial)) == expected


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
def test_frames_in_reverse_order_are_a_runner_who_travels_backwards(surface: str) -> None:
    trial = a_runner(surface=surface, footfalls=8)
    assert status(FORWARDS, of_trial(trial)) == "pass"
    (finding,) = run(FORWARDS, of_trial(backwards(trial))).findings
    assert "body travels 180 degrees" in finding.seen
    assert "reverse order" in finding.remedy


def test_a_runner_who_hardly_moves_has_no_direction() -> None:
    slow = all_markers(backwards(a_runner()), lambda path: path * [0.1, 1, 0.1])
    assert status(FORWARDS, of_trial(slow)) == "pass"


def test_a_person_who_stands_turned_breaks_no_rule() -> None:
    assert status(FORWARDS, of_trial(turned(a_person(), 90))) == "skipped"
    assert status(MIRROR, of_trial(turned(a_person(), 90))) == "pass"


@pytest.mark.parametrize(
    ("metres", "expected"), [(0.08, "pass"), (0.10, "found"), (-0.03, "pass"), (-0.05, "found"), (-0.5, "found")]
)
def test_the_plates_lie_under_the_feet_by_a_sole_at_most(metres: float, expected: str) -> None:
    assert status(PLATES, of_trial(sunk(a_runner(), metres))) == expected  # the markers stand 30 mm above the ground


def test_without_load_on_the_plates_there_is_no_foot_to_compare() -> None:
    unloaded = with_force(a_runner(), lambda force: force * 0)
    assert status(PLATES, of_trial(unloaded)) == "skipped"


@needs_real_run
def test_the_real_runner_is_no_mirror_image_and_runs_forwards_on_the_plates() -> None:
    context = real_context("running")
    assert {name: status(name, context) for name in PLANTED} == dict.fromkeys(PLANTED, "pass")


@needs_real_run
def test_the_real_runner_in_a_mirror_is_told() -> None:
    context = real_context("running")
    assert context.trial is not None
    mirrored = of_trial(all_markers(context.trial, lambda path: path * [-1, 1, 1]))
    assert status(MIRROR, mirrored) == "found"
    assert status(FORWARDS, mirrored) == "pass"
