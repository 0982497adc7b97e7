"""Codes of runners, sessions and trials: of the form that the study declares, or of a closed one; never a name or a day."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from pipelines.identity.codes import codes_among
from pipelines.identity.vocabulary import Vocabulary
from schemas.study_codes import StudyCodes
from tests.builders import a_study

PLAIN = Vocabulary.of(a_study(known_texts=("proband",)))
DECLARED = Vocabulary.of(a_study(codes={"runner": "FS-[0-9]{2}"}))
RUNNER, SESSION, TRIAL = "participant_id", "session_id", "trial_id"


@pytest.mark.parametrize("code", ["FS-01", "sub-012", "kx12", "Proband-03", "mill-FS-01", "P 7", "S07b", "12", "00123"])
def test_a_prefix_and_a_short_number_are_a_runners_code(code: str) -> None:
    assert codes_among({RUNNER: [code]}, PLAIN) == {code}


@pytest.mark.parametrize(
    "code",
    [
        *("KIM-840312-BO", "SMI840312", "KIM-84-03-12", "12-03-1984", "19840312", "P123456", "FS-01-KB", "FS-01-KB2"),
        *(
            "Kim-1",
            "ragnhild-1",
            "Ostervik",
            "Black-1",
            "KIM",
            "12BO",
            "FS-\u0441\u0432-1",
            "FS--01",
            "A-B-1",
            "1234567",
        ),
        "F" * 70 + "1",
        *("1984", "B1984", "FS-1984", "P2003"),
    ],
)
def test_names_initials_and_days_of_birth_are_no_runners_code(code: str) -> None:
    assert codes_among({RUNNER: [code]}, PLAIN) == set()


def test_a_prefix_is_told_from_initials_by_being_used_again() -> None:
    assert codes_among({RUNNER: ["TS01", "TS02", "KIM1", "BO-2"]}, PLAIN) == {"TS01", "TS02"}
    assert codes_among({RUNNER: ["KIM1", "BO-2"]}, PLAIN) == set()
    assert codes_among({RUNNER: ["TS01", "TS02", "CS01", "CS02", "7"]}, PLAIN) == {"TS01", "TS02", "CS01", "CS02", "7"}


@pytest.mark.parametrize(
    "code",
    ["FS-01-w5-cushioned-1", "P07_S2_T03", "RUN03", "T001.a", "FS-01", "w5-FS-01-shod_2", "standing 2", "S-FS-01"],
)
def test_sessions_and_trials_are_the_runners_code_known_words_and_short_numbers(code: str) -> None:
    assert codes_among({RUNNER: ["FS-01", "P07"], TRIAL: [code]}, PLAIN) >= {code}


@pytest.mark.parametrize(
    "code",
    ["FS-01-Crumble", "FS-01-KIM3", "FS-01-BO", "FS-01-840312", "FS-02-r-black", "SMI840312-w5", "FS-01-12-03-84"],
)
def test_sessions_and_trials_with_anything_else_are_none(code: str) -> None:
    assert codes_among({RUNNER: ["FS-01"], SESSION: [code], TRIAL: [code]}, PLAIN) == {"FS-01"}


def test_a_declared_form_counts_alone() -> None:
    named = {RUNNER: ["FS-01", "FT-01", "12", "FS-001"], TRIAL: ["FS-01-w5-1", "KIM3", "T3"], SESSION: ["FS-12-w5"]}
    assert codes_among(named, DECLARED) == {"FS-01", "FS-01-w5-1", "T3"}
    trials = Vocabulary.of(a_study(codes={"runner": "[A-Z]{3}[0-9]{6}", "trial": "R[0-9]"}))
    assert codes_among({RUNNER: ["SMI840312"], TRIAL: ["R1", "T3"]}, trials) == {"SMI840312", "R1"}


@pytest.mark.parametrize("form", ["FS-[0-9", ".*", "[A-Za-z ]+"])
def test_a_form_that_cannot_be_asked_or_that_fits_a_name_is_refused(form: str) -> None:
    with pytest.raises(ValidationError):
        StudyCodes(runner=form)
