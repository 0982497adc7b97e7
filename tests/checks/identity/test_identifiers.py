"""What follows from texts that may identify a person: which trials stay out, what stops a delivery, and what is said."""

from __future__ import annotations

import pytest

from checks.registry import Weight
from schemas.reading import Identifying, Reading
from tests.checks.received_builders import a_delivery
from tests.checks.running_checks import Case, of_delivery, of_reading, run

TEXTS, FILES = "texts_identify_nobody", "trial_files_identify_nobody"
IN_A_NAME = Identifying("name of a person", "name-kept-back-1.c3d", "the name of the file or of its folder")
IN_A_FILE = Identifying("date", "trials/T1.c3d", "TRIAL:NOTE")

PLANTED = {
    TEXTS: Case(lambda: of_delivery(a_delivery(identifying=(IN_A_NAME,))), IN_A_NAME.place),
    FILES: Case(lambda: of_reading(Reading("T1", "trials/T1.c3d", identifying=(IN_A_FILE,))), IN_A_FILE.place),
}
CLEAN = {
    TEXTS: lambda: of_delivery(a_delivery()),
    FILES: lambda: of_reading(Reading("T1", "trials/T1.c3d")),
}


def a_cell(**ids: str) -> Identifying:
    return Identifying("name of a person", "trials.csv", "line 2, column comment", **ids)


@pytest.mark.parametrize("level", ["trial_id", "session_id", "participant_id"])
def test_a_text_in_a_row_keeps_out_the_trials_of_that_row_only(level: str) -> None:
    delivery = a_delivery()
    trials, sessions = delivery.tables["sent_trials"], delivery.tables["sent_sessions"]
    table = sessions if level == "participant_id" else trials
    value = str(table[level].iloc[0])
    own = {str(sessions["session_id"].iloc[0])} if level == "participant_id" else {value}
    column = {"trial_id": "trial_id", "session_id": "session_id", "participant_id": "session_id"}[level]
    report = run(TEXTS, of_delivery(a_delivery(identifying=(a_cell(**{level: value}),))))
    assert {f.trial_id for f in report.findings} == set(trials.loc[trials[column].isin(own), "trial_id"])
    assert {f.weight for f in report.findings} == {Weight.WITHHOLDS}


@pytest.mark.parametrize("ids", [{}, {"trial_id": "of-another-delivery"}, {"participant_id": "nobody"}])
def test_a_text_that_belongs_to_no_trial_stops_the_delivery(ids: dict[str, str]) -> None:
    (finding,) = run(TEXTS, of_delivery(a_delivery(identifying=(a_cell(**ids),)))).findings
    assert finding.weight == Weight.STOPS


def test_a_second_file_is_named_where_the_text_stands_in_it() -> None:
    telling = Identifying("date", "trials/T1.edf", "start date of the header")
    (finding,) = run(FILES, of_reading(Reading("T1", "trials/T1.c3d", identifying=(telling,)))).findings
    assert (finding.file, finding.trial_id) == ("trials/T1.edf", "T1")
