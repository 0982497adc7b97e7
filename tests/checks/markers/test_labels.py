"""Checks of labels that are wrong all the time: planted exchanges, what must not be taken for one, and a real runner."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from checks.registry import catalogue
from schemas.trial import Trial
from tests.checks.marker_builders import a_person, a_runner, all_markers, labels_exchanged, moved, stood
from tests.checks.real_runner import needs_real_run, real_context
from tests.checks.running_checks import Case, of_trial, run, status

HEEL, TOE, FIFTH = "calcaneus_right", "second_metatarsal_head_right", "fifth_metatarsal_head_right"
ANKLE, KNEE = "lateral_malleolus_right", "lateral_femoral_epicondyle_right"
SACRUM = "sacrum"
LABELS = [
    name for name, spec in catalogue().items() if spec.topic in {"markers.labels", "markers.standing", "markers.axes"}
]
INNER_OUTER = "inner_and_outer_markers_are_on_their_sides"
LENGTHS = "segment_lengths_are_those_of_the_standing_trial"
ONE_PLACE = "no_two_markers_are_at_one_place"


def two_labels(trial: Trial, role: str, also: str, frames: slice) -> Trial:
    path = trial.markers[role].copy()
    path[frames] = trial.markers[also][frames]
    return replace(trial, markers={**trial.markers, role: path})


PLANTED = {
    INNER_OUTER: Case(
        lambda: of_trial(labels_exchanged(a_runner(), ANKLE, "medial_malleolus_right")),
        f"{ANKLE} and medial_malleolus_right",
    ),
    "toes_are_ahead_of_heels": Case(
        lambda: of_trial(labels_exchanged(a_runner(), HEEL, TOE)),
        f"{HEEL} and {TOE}",
    ),
    "leg_markers_are_in_order_of_height": Case(
        lambda: of_trial(labels_exchanged(a_person(), ANKLE, KNEE)), f"{KNEE} and {ANKLE}"
    ),
    ONE_PLACE: Case(lambda: of_trial(two_labels(a_runner(), ANKLE, HEEL, slice(100, 120))), f"{HEEL} and {ANKLE}"),
    LENGTHS: Case(lambda: stood(a_runner(), calcaneus_right=(0.03, 0, 0)), f"{HEEL} to {TOE}"),
}
CLEAN = dict.fromkeys(PLANTED, lambda: stood(a_runner()))


def found_by(trial: Trial) -> list[str]:
    """Names of the checks of labels, axes and standing that find something, one name per finding."""
    context = stood(trial) if trial.kind == "running" else of_trial(trial)
    return [finding.check_name for name in LABELS for finding in run(name, context).findings]


EXCHANGES = {
    (TOE, FIFTH): INNER_OUTER,
    ("first_metatarsal_head_left", "fifth_metatarsal_head_left"): INNER_OUTER,
    ("lateral_malleolus_left", "medial_malleolus_left"): INNER_OUTER,
    ("lateral_femoral_epicondyle_left", "medial_femoral_epicondyle_left"): INNER_OUTER,
    (HEEL, TOE): "toes_are_ahead_of_heels",
    (HEEL, FIFTH): "toes_are_ahead_of_heels",
    (ANKLE, KNEE): "leg_markers_are_in_order_of_height",
}


@pytest.mark.parametrize("kind", [a_runner, a_person])
@pytest.mark.parametrize("pair", EXCHANGES, ids=" and ".join)
def test_an_exchange_that_never_ends_is_told_by_one_check(pair: tuple[str, str], kind) -> None:
    assert set(found_by(labels_exchanged(kind(), *pair))) == {EXCHANGES[pair]}


def test_exchanged_sides_are_not_told_as_exchanged_inner_and_outer_markers() -> None:
    trial = a_runner()
    for role in {role.removesuffix("_left") for role in trial.markers if role.endswith("_left")}:
        trial = labels_exchanged(trial, f"{role}_left", f"{role}_right")
    assert found_by(trial) == []
    assert status("left_and_right_are_on_their_sides", of_trial(trial)) == "found"


def test_a_single_pair_with_exchanged_sides_is_left_to_the_check_of_sides() -> None:
    trial = labels_exchanged(a_person(), "lateral_malleolus_left", "lateral_malleolus_right")
    assert status(INNER_OUTER, of_trial(trial)) == "pass"


@pytest.mark.parametrize("degrees", [30, -30, 90, 180])
def test_a_runner_who_stands_turned_has_inner_and_outer_sides_all_the_same(degrees: float) -> None:
    a = np.radians(degrees)
    turn = np.array([[np.cos(a), 0, -np.sin(a)], [0, 1, 0], [np.sin(a), 0, np.cos(a)]])
    assert found_by(all_markers(a_person(), lambda path: path @ turn)) == []
    wrong = all_markers(labels_exchanged(a_person(), TOE, FIFTH), lambda path: path @ turn)
    assert found_by(wrong) == [INNER_OUTER]


@pytest.mark.parametrize(("share", "expected"), [(0.4, "pass"), (0.6, "found")])
def test_what_holds_for_most_frames_counts(share: float, expected: str) -> None:
    trial, turned = a_runner(), labels_exchanged(a_runner(), TOE, FIFTH)
    frames = np.arange(len(trial.markers[TOE])) < share * len(trial.markers[TOE])
    mixed = {role: np.where(frames[:, None], turned.markers[role], path) for role, path in trial.markers.items()}
    assert status(INNER_OUTER, of_trial(replace(trial, markers=mixed))) == expected


@pytest.mark.parametrize(("inward_m", "expected"), [(0.042, "pass"), (0.048, "found")])
def test_a_marker_may_cross_the_line_by_five_millimetres(inward_m: float, expected: str) -> None:
    trial = moved(a_person(), FIFTH, (0, 0, -inward_m))  # it lies 40 mm outside the second
    assert status(INNER_OUTER, of_trial(trial)) == expected


def test_without_a_pelvis_two_feet_that_contradict_each_other_are_told_by_the_axis() -> None:
    trial = a_person()
    feet = {role: path for role, path in trial.markers.items() if "metatarsal" in role or "calcaneus" in role}
    assert status("toes_are_ahead_of_heels", of_trial(replace(trial, markers=feet))) == "pass"
    (finding,) = run(
        "toes_are_ahead_of_heels", of_trial(labels_exchanged(replace(trial, markers=feet), HEEL, TOE))
    ).findings
    assert finding.place == f"{HEEL} and {TOE}"


def test_two_balls_that_touch_for_an_instant_are_no_fault() -> None:
    assert status(ONE_PLACE, of_trial(two_labels(a_runner(), ANKLE, HEEL, slice(100, 104)))) == "pass"
    assert status(ONE_PLACE, of_trial(two_labels(a_runner(), ANKLE, HEEL, slice(100, 105)))) == "found"


@pytest.mark.parametrize(("apart_m", "expected"), [(0.003, "found"), (0.006, "pass")])
def test_two_balls_side_by_side_are_at_two_places(apart_m: float, expected: str) -> None:
    trial = two_labels(a_runner(), ANKLE, HEEL, slice(None))
    assert status(ONE_PLACE, of_trial(moved(trial, ANKLE, (0, apart_m, 0)))) == expected


@pytest.mark.parametrize(
    ("role", "along_m", "expected"),
    [
        ("calcaneus_left", 0.014, "pass"),
        ("calcaneus_left", -0.014, "pass"),
        ("calcaneus_left", 0.017, "found"),
        ("calcaneus_left", -0.017, "found"),
    ],
)
def test_a_foot_marker_may_lie_fifteen_millimetres_from_where_it_stood(role, along_m, expected) -> None:
    assert status(LENGTHS, stood(a_runner(), **{role: (along_m, 0, 0)})) == expected


@pytest.mark.parametrize(
    ("role", "up_m", "expected"),
    [(KNEE, 0.03, "pass"), (KNEE, 0.04, "found"), ("greater_trochanter_left", 0.03, "pass")],
)
def test_skin_over_knee_and_hip_slides_further(role: str, up_m: float, expected: str) -> None:
    trial = a_person(kind="running")  # the legs of the runner in these tests do not keep their length
    assert status(LENGTHS, stood(trial, **{role: (0, up_m, 0)})) == expected


def test_the_marker_that_was_stuck_on_again_is_named() -> None:
    (finding,) = run(LENGTHS, stood(a_runner(), calcaneus_right=(0.03, 0, 0))).findings
    assert f"all of them to {HEEL}" in finding.seen
    assert "2 of 3" in finding.seen


def test_without_a_standing_trial_lengths_are_not_looked_at() -> None:
    assert status(LENGTHS, of_trial(a_runner())) == "skipped"


# --- a real runner ---------------------------------------------------------------------------------------------------


@needs_real_run
@pytest.mark.parametrize("kind", ["running", "standing"])
def test_the_labels_of_the_real_runner_are_where_they_belong(kind: str) -> None:
    context = real_context(kind)
    ends = {name: status(name, context) for name in PLANTED}
    if kind == "standing":
        assert ends.pop(LENGTHS) == "skipped"
    assert set(ends.values()) == {"pass"}  # the exchange in 43 of 123 frames is for markers_keep_their_distance


@needs_real_run
def test_every_exchange_within_a_foot_of_the_real_runner_is_found_once() -> None:
    context = real_context("running")
    assert context.trial is not None
    for side in ("left", "right"):
        parts = [f"{part}_{side}" for part in ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head")]
        for pair in combinations(parts, 2):
            wrong = of_trial(labels_exchanged(context.trial, *pair), posture=context.posture)
            findings = [finding.check_name for name in PLANTED for finding in run(name, wrong).findings]
            assert findings == [INNER_OUTER if parts[0] not in pair else "toes_are_ahead_of_heels"]


@needs_real_run
def test_knee_markers_measured_in_one_trial_and_computed_in_the_other_are_told() -> None:
    """The source holds measured epicondyles for standing only, and points computed from clusters for both."""
    found = run(LENGTHS, real_context("running", standing_as="measured")).findings
    assert {finding.place.split(" ")[0] for finding in found} == {
        "lateral_malleolus_left",
        "lateral_malleolus_right",
    }


@pytest.mark.parametrize(("misfit_mm", "expected"), [(7.9, "pass"), (8.1, "found")])
def test_a_cluster_that_left_its_shape_since_the_standing_trial_is_told_with_what_it_carries(
    misfit_mm: float, expected: str
) -> None:
    runner = a_runner()
    off = np.full(len(next(iter(runner.markers.values()))), misfit_mm / 1000)
    carried = replace(runner, carried={KNEE: "thigh_right"}, misfits_m={"thigh_right": off})
    context = stood(carried)
    assert status(LENGTHS, context) == expected
    for finding in run(LENGTHS, context).findings:
        assert finding.place == "cluster thigh_right"
        assert f"it carries {KNEE}" in finding.seen


@pytest.mark.parametrize(("below_mm", "expected"), [(-200.0, "pass"), (30.0, "pass"), (150.0, "found")])
def test_a_cluster_of_the_next_segment_cannot_carry_both_ends_of_this_one(below_mm: float, expected: str) -> None:
    """A shank's cluster that is said to carry knee and hip keeps the knee from bending."""
    runner, hip = a_runner(), "greater_trochanter_right"
    misfits = {"thigh_right": np.zeros(len(next(iter(runner.markers.values()))))}
    carried = replace(runner, carried={KNEE: "thigh_right", hip: "thigh_right"}, misfits_m=misfits)
    posture = stood(carried).posture
    assert posture is not None
    down = posture.markers[KNEE] - posture.markers[hip]
    middle = posture.markers[KNEE] + down / np.linalg.norm(down) * below_mm / 1000
    own = {f"thigh_right.{n}": middle for n in (1, 2, 3)}
    context = of_trial(carried, posture=replace(posture, markers={**posture.markers, **own}))
    assert status(LENGTHS, context) == expected
    for finding in run(LENGTHS, context).findings:
        assert "beyond both ends of the segment" in finding.seen


@pytest.mark.parametrize(("side", "expected"), [("right", "pass"), ("left", "found")])
def test_a_cluster_of_the_other_leg_sends_to_the_profile(side: str, expected: str) -> None:
    runner = a_runner()
    misfits = {"shank_right": np.zeros(len(next(iter(runner.markers.values()))))}
    carried = replace(runner, carried={KNEE: "shank_right"}, misfits_m=misfits)
    posture = stood(carried).posture
    assert posture is not None
    middle = posture.markers[KNEE.replace("right", side)]
    own = {f"shank_right.{n}": middle for n in (1, 2, 3)}
    context = of_trial(carried, posture=replace(posture, markers={**posture.markers, **own}))
    assert status(LENGTHS, context) == expected
    for finding in run(LENGTHS, context).findings:
        assert "nearer to the same landmarks of the other leg" in finding.seen
        assert "Correct the profile" in finding.remedy


@pytest.mark.parametrize(("times", "expected"), [(1.05, "found"), (0.95, "found"), (1.03, "pass"), (0.98, "pass")])
def test_a_running_trial_of_another_scale_than_the_standing_one_is_told_once(times: float, expected: str) -> None:
    trial = a_runner()
    larger = replace(trial, markers={name: times * path for name, path in trial.markers.items()})
    context = of_trial(larger, posture=stood(trial).posture)
    assert status(LENGTHS, context) == expected
    for finding in run(LENGTHS, context).findings:
        assert finding.place == "all markers"
        told = float(finding.seen.partition("together are ")[2].partition(" %")[0])
        assert told == pytest.approx(100 * (times - 1), abs=0.5)  # markers shake a little
