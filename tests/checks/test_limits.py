"""Thresholds: a check's default, the study's over it, and a laboratory's own over both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from checks.context import Context
from checks.registry import catalogue
from schemas.study import Study
from tests.builders import a_study, a_trial
from tests.checks.received_builders import RUNNER, SESSION, a_delivery
from tests.checks.running_checks import of_delivery, of_trial, run, status

MASS = "session_mass_is_near_enrolment_mass"
FLAT = "plates_read_zero_unloaded"


def a_study_with(study: dict | None = None, **sites: dict) -> Study:
    """The builders' study; ``study`` and ``sites`` hold thresholds by check."""
    settings = a_study().model_dump()
    settings["limits"] = study or {}
    for site, limits in sites.items():
        settings["sites"][site]["limits"] = {
            check: {name: {"value": value, "reason": "x", "since": "2026-03-02"} for name, value in own.items()}
            for check, own in limits.items()
        }
    return Study.model_validate(settings)


def a_heavier_runner(study: Study, site: str = "mill") -> Context:
    """12 % more than at enrolment; the default allows 10 %."""
    received = a_delivery(sent_participants=[RUNNER], sent_sessions=[{**SESSION, "mass_kg": 67.2}])
    return of_delivery(replace(received, site=site), study)


@pytest.mark.parametrize(
    ("study", "ended"),
    [
        (a_study_with(), "found"),
        (a_study_with({MASS: {"change_percent": 15}}), "pass"),
        (a_study_with(mill={MASS: {"change_percent": 15}}), "pass"),
        (a_study_with(way={MASS: {"change_percent": 15}}), "found"),
        (a_study_with({MASS: {"change_percent": 15}}, mill={MASS: {"change_percent": 5}}), "found"),
        (a_study_with({MASS: {"change_percent": 5}}, mill={MASS: {"change_percent": 15}}), "pass"),
    ],
    ids=["default", "of the study", "of the site", "of another site", "stricter than the study", "looser"],
)
def test_the_narrowest_threshold_counts(study: Study, ended: str) -> None:
    assert status(MASS, a_heavier_runner(study)) == ended


def test_the_message_names_the_threshold_in_force() -> None:
    finding, _ = run(MASS, a_heavier_runner(a_study_with(mill={MASS: {"change_percent": 11.5}}))).findings
    assert "11.5 %" in finding.expected


def test_a_delivery_of_no_known_laboratory_is_judged_by_the_study() -> None:
    study = a_study_with({MASS: {"change_percent": 15}}, mill={MASS: {"change_percent": 5}})
    assert status(MASS, a_heavier_runner(study, "nowhere")) == "pass"


def test_a_trial_is_judged_by_its_laboratorys_threshold() -> None:
    trial = a_trial()
    plates = tuple(replace(p, force=p.force + np.array([0.0, 12.0, 0.0])) for p in trial.plates)
    context = of_trial(replace(trial, plates=plates))
    assert status(FLAT, context) == "pass"
    own = a_study_with(mill={FLAT: {next(iter(catalogue()[FLAT].limits)): 10.0}})
    assert status(FLAT, replace(context, study=own)) == "found"
