"""Whether the signals of a trial fit the condition its row names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from checks.context import Context
from checks.evidence import Role
from schemas.trial import Posture, Trial
from tests.builders import a_posture, a_trial
from tests.checks.running_checks import Case, of_trial, run, status

NAME = "feet_stand_as_high_as_in_the_standing_trial"


def on_soles(trial: Trial, mm: float) -> Trial:
    """Every marker of the feet is ``mm`` higher: the runner wears other shoes than in the standing trial."""
    feet = ("calcaneus", "metatarsal", "malleolus")
    lifted = {r: p + np.array([0.0, mm / 1000, 0.0]) for r, p in trial.markers.items() if any(x in r for x in feet)}
    return replace(trial, markers={**trial.markers, **lifted})


def beside(trial: Trial, posture: Posture | None) -> Context:
    return of_trial(trial, posture=posture)


PLANTED = {NAME: Case(lambda: beside(on_soles(a_trial(), 28), a_posture()), "all contacts")}
CLEAN = {NAME: lambda: beside(a_trial(), a_posture())}


@pytest.mark.parametrize("surface", ["treadmill", "runway"])
@pytest.mark.parametrize(("mm", "expected"), [(0, "pass"), (12, "pass"), (15, "found"), (-12, "pass"), (-15, "found")])
def test_half_a_sole_more_or_less_is_told(surface: str, mm: float, expected: str) -> None:
    trial = a_trial(surface=surface, footfalls=8 if surface == "treadmill" else 2)
    assert status(NAME, beside(on_soles(trial, mm), a_posture())) == expected


def test_the_step_in_height_is_told_in_millimetres() -> None:
    (finding,) = run(NAME, beside(on_soles(a_trial(), 28), a_posture())).findings
    assert "are +28 mm higher than in standing trial T0" in finding.seen


def test_one_foot_hidden_leaves_the_other() -> None:
    trial = on_soles(a_trial(), 28)
    hidden = {r: p * np.nan if r.endswith("left") else p for r, p in trial.markers.items()}
    (finding,) = run(NAME, beside(replace(trial, markers=hidden), a_posture())).findings
    assert finding.shows is not None
    assert {part.name for part in finding.shows.panels[0].parts if part.role is Role.VALUE} == {"right"}


@pytest.mark.parametrize("posture", [None, Posture("T0", "shod", {}), a_posture(markers={"sacrum": np.zeros(3)})])
def test_without_a_standing_trial_there_is_nothing_to_compare(posture: Posture | None) -> None:
    assert status(NAME, beside(a_trial(), posture)) == "skipped"


@pytest.mark.filterwarnings("error")
def test_a_standing_posture_of_unknown_places_breaks_nothing() -> None:
    unknown = a_posture(markers={role: place * np.nan for role, place in a_posture().markers.items()})
    assert status(NAME, beside(a_trial(), unknown)) == "skipped"
