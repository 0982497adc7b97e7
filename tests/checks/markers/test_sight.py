"""Checks of what the cameras saw: planted losses, what must not be taken for one, and a real runner."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from schemas.trial import Trial
from tests.checks.marker_builders import a_runner, emptied
from tests.checks.real_runner import needs_real_run, real_context
from tests.checks.running_checks import Case, of_trial, run, status

FILLED, FLICKER, CONTACT = "few_frames_are_filled", "markers_do_not_flicker", "foot_markers_are_seen_at_contact"
HEEL, TOE, HIP = "calcaneus_right", "second_metatarsal_head_right", "greater_trochanter_left"


def lost(trial: Trial, role: str, percent: float) -> Trial:
    """So many percent of the frames empty, in gaps of ten frames."""
    size = len(trial.markers[role])
    gaps = np.arange(10, size - 20, 20)[: round(percent / 100 * size / 10)]
    return emptied(trial, role, np.concatenate([np.arange(gap, gap + 10) for gap in gaps]))


def glimpsed(trial: Trial, role: str, times: int, frames: int) -> Trial:
    """Seen ``times`` times for ``frames`` frames between gaps of eight."""
    empty = np.concatenate([np.arange(100 + i * (8 + frames), 108 + i * (8 + frames)) for i in range(times + 1)])
    return emptied(trial, role, empty)


def hidden_at_contacts(trial: Trial, which: slice, role: str = "calcaneus", around: int = 3) -> Trial:
    """A foot marker empty around some of the contacts, on the side that lands."""
    contacts = of_trial(trial).footfalls
    assert contacts is not None
    for footfall in contacts.records[which]:
        frame = round(footfall["contact_s"] * trial.marker_rate_hz)
        trial_role = f"{role}_{footfall['side']}"
        earlier = trial.filled[trial_role]
        trial = emptied(trial, trial_role, np.arange(frame - around, frame + around + 1))
        trial = replace(trial, filled={**trial.filled, trial_role: trial.filled[trial_role] | earlier})
    return trial


PLANTED = {
    FILLED: Case(lambda: of_trial(lost(a_runner(), HIP, 20)), HIP),
    FLICKER: Case(lambda: of_trial(glimpsed(a_runner(), HIP, 4, 3)), f"{HIP}, frame 109"),
    CONTACT: Case(lambda: of_trial(hidden_at_contacts(a_runner(), slice(None))), HEEL),
}
CLEAN = dict.fromkeys(PLANTED, lambda: of_trial(a_runner()))


@pytest.mark.parametrize(("percent", "expected"), [(8, "pass"), (12, "found")])
def test_a_tenth_of_the_frames_may_be_filled(percent: float, expected: str) -> None:
    assert status(FILLED, of_trial(lost(a_runner(), HIP, percent))) == expected


def test_markers_that_are_lost_together_are_one_finding_about_the_worst() -> None:
    (finding,) = run(FILLED, of_trial(lost(lost(a_runner(), HIP, 15), HEEL, 30))).findings
    assert finding.place == f"{HEEL}, {HIP}"
    assert HEEL in finding.seen


def test_filled_frames_of_a_marker_that_the_study_can_do_without_do_not_count() -> None:
    assert status(FILLED, of_trial(lost(a_runner(), "medial_malleolus_left", 30))) == "pass"


@pytest.mark.parametrize(
    ("times", "frames", "expected"), [(2, 3, "pass"), (3, 4, "found"), (3, 5, "pass"), (5, 1, "found")]
)
def test_three_glimpses_of_a_fiftieth_of_a_second_are_flicker(times: int, frames: int, expected: str) -> None:
    assert status(FLICKER, of_trial(glimpsed(a_runner(), HIP, times, frames))) == expected


def test_a_marker_first_seen_or_last_seen_for_an_instant_does_not_flicker() -> None:
    trial = a_runner()
    last = len(trial.markers[HIP])
    ends = np.setdiff1d(np.arange(last), [*range(3), *range(100, 400), *range(last - 3, last)])
    assert status(FLICKER, of_trial(emptied(trial, HIP, ends))) == "pass"


@pytest.mark.parametrize(("hidden", "expected"), [(4, "pass"), (5, "found")])
def test_half_of_the_contacts_are_enough(hidden: int, expected: str) -> None:
    trial = hidden_at_contacts(a_runner(footfalls=8), slice(0, hidden))
    assert status(CONTACT, of_trial(trial)) == expected


def test_a_forefoot_hidden_at_contact_counts_like_a_heel() -> None:
    trial = hidden_at_contacts(a_runner(), slice(None), "second_metatarsal_head")
    (finding,) = run(CONTACT, of_trial(trial)).findings
    assert "Only 0 of 8 footfalls" in finding.seen
    assert TOE.removesuffix("_right") in finding.place


def test_a_marker_hidden_between_contacts_is_no_fault() -> None:
    trial = a_runner()
    footfalls = of_trial(trial).footfalls
    assert footfalls is not None
    frames = [round((at + 0.05) * trial.marker_rate_hz) + np.arange(8) for at in footfalls.columns["contact_s"]]
    assert status(CONTACT, of_trial(emptied(trial, HEEL, np.concatenate(frames)))) == "pass"


@needs_real_run
def test_the_cameras_saw_the_real_runner() -> None:
    context = real_context("running")
    study = context.study
    roles = {r: spec.model_copy(update={"required": r in CLEAN_ROLES}) for r, spec in study.marker_roles.items()}
    context = replace(context, study=study.model_copy(update={"marker_roles": roles}))
    assert {name: status(name, context) for name in PLANTED} == dict.fromkeys(PLANTED, "pass")


CLEAN_ROLES = ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head")
