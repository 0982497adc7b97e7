"""Checks of the tables of a delivery."""

from __future__ import annotations

import pytest

from checks.registry import Weight
from tests.checks.received_builders import (
    RUNNER,
    SESSION,
    a_consent,
    a_delivery,
    a_row,
    with_problem,
)
from tests.checks.running_checks import Case, of_delivery, run, status


def clean():
    return of_delivery(a_delivery())


PLANTED = {
    "tables_can_be_read": Case(
        lambda: of_delivery(with_problem("column", file="trials.csv", place="line 1")), "line 1"
    ),
    "cells_fit_their_columns": Case(
        lambda: of_delivery(with_problem("cell", place="line 2, column mass_kg", trial_id="T1")),
        "line 2, column mass_kg",
    ),
    "keys_are_unique": Case(lambda: of_delivery(with_problem("key", place="line 3", trial_id="T1")), "line 3"),
    "rows_refer_to_rows_that_exist": Case(
        lambda: of_delivery(a_delivery(sent_trials=[a_row("T1", session_id="S9")])), "trial_id T1"
    ),
    "words_are_in_the_study_file": Case(
        lambda: of_delivery(a_delivery(sent_trials=[a_row("T1", condition="Shod")])),
        "trial_id T1, column condition",
    ),
    "session_mass_is_near_enrolment_mass": Case(
        lambda: of_delivery(a_delivery(sent_sessions=[{**SESSION, "mass_kg": 67.0}])),
        "session_id S1, column mass_kg",
        findings=2,  # one for each trial of the session
    ),
    "running_conditions_have_a_standing_trial": Case(
        lambda: of_delivery(a_delivery(sent_trials=[a_row("T0", "standing", condition="unshod"), a_row("T1")])),
        "session_id S1, condition shod",
    ),
}
CLEAN = dict.fromkeys(PLANTED, clean)


def test_a_faulty_descriptor_is_only_noted() -> None:
    (finding,) = run("tables_can_be_read", of_delivery(with_problem("descriptor"))).findings
    assert finding.weight == Weight.NOTES


def test_a_missing_table_stops_the_delivery() -> None:
    (finding,) = run("tables_can_be_read", of_delivery(with_problem("table", file="trials.csv"))).findings
    assert finding.weight == Weight.STOPS


def test_a_wrong_cell_of_a_runner_reaches_all_the_runners_trials() -> None:
    received = with_problem("cell", file="participants.csv", participant_id="P1")
    findings = run("cells_fit_their_columns", of_delivery(received)).findings
    assert {finding.trial_id for finding in findings} == {"T0", "T1"}


def test_a_session_of_an_unknown_runner_reaches_its_trials() -> None:
    received = a_delivery(sent_participants=[])
    findings = run("rows_refer_to_rows_that_exist", of_delivery(received)).findings
    assert [finding.trial_id for finding in findings] == ["T0", "T1"]
    assert "3 rows of consents.csv and 1 row of sessions.csv" in findings[0].seen


def test_a_channel_of_an_unknown_trial_is_told_of_no_trial() -> None:
    channel = {"trial_id": "T9", "label": "EMG1", "role": "muscle", "muscle": "soleus", "unit_code": "mV"}
    (finding,) = run("rows_refer_to_rows_that_exist", of_delivery(a_delivery(sent_channels=[channel]))).findings
    assert (finding.trial_id, finding.place) == (None, "trial_id T9")


def test_a_reference_left_empty_is_the_business_of_the_cell() -> None:
    received = a_delivery(sent_trials=[a_row("T1", session_id=None)])
    assert status("rows_refer_to_rows_that_exist", of_delivery(received)) == "pass"


def test_a_muscle_that_the_study_does_not_know_is_found() -> None:
    channel = {"trial_id": "T1", "label": "EMG1", "role": "muscle", "muscle": "calf", "unit_code": "mV"}
    (finding,) = run("words_are_in_the_study_file", of_delivery(a_delivery(sent_channels=[channel]))).findings
    assert (finding.trial_id, finding.file) == ("T1", "channels.csv")


@pytest.mark.parametrize(("mass_kg", "expected"), [(66.0, "pass"), (54.0, "pass"), (66.1, "found"), (53.9, "found")])
def test_session_mass_may_differ_by_a_tenth(mass_kg: float, expected: str) -> None:
    received = a_delivery(sent_sessions=[{**SESSION, "mass_kg": mass_kg}])
    assert status("session_mass_is_near_enrolment_mass", of_delivery(received)) == expected


@pytest.mark.parametrize("missing", [{"mass_kg": None}, {"participant_id": None}])
def test_a_mass_that_is_not_known_is_not_compared(missing: dict) -> None:
    received = a_delivery(sent_participants=[{**RUNNER, **missing}])
    assert status("session_mass_is_near_enrolment_mass", of_delivery(received)) == "skipped"


def test_only_the_running_trials_of_the_condition_get_the_note() -> None:
    trials = [a_row("T0", "standing"), a_row("T1"), a_row("T2", condition="unshod")]
    findings = run("running_conditions_have_a_standing_trial", of_delivery(a_delivery(sent_trials=trials))).findings
    assert [finding.trial_id for finding in findings] == ["T2"]


def test_empty_tables_are_skipped_by_every_check_of_rows() -> None:
    empty = a_delivery(sent_participants=[], sent_sessions=[], sent_trials=[], sent_consents=[])
    assert {status(name, of_delivery(empty)) for name in PLANTED if name != "tables_can_be_read"} == {"skipped"}


def test_a_consent_of_an_unknown_runner_touches_no_trial_and_is_told_all_the_same() -> None:
    received = a_delivery(sent_consents=[a_consent("motion", runner="P9")])
    (finding,) = run("rows_refer_to_rows_that_exist", of_delivery(received)).findings
    assert finding.trial_id is None
