"""Checks of the weekly log and the weekly questionnaire."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from checks.context import Context
from tests.checks.received_builders import SCOPES, a_consent, a_delivery
from tests.checks.running_checks import Case, of_covered, of_delivery, run, status
from tests.checks.study_builders import Rows, a_log, a_runner, an_answer

#: minutes in ``shod`` and ``unshod`` of a change-over as planned
PLANNED = {
    1: (160, 40),
    2: (150, 52),
    3: (136, 64),
    4: (120, 80),
    5: (104, 96),
    6: (86, 114),
    7: (68, 132),
    8: (50, 150),
}
WELL = (0, None, None, None)


def told(log: Rows | None = None, answers: Rows | None = None, **changes: Any) -> Context:
    rows = a_log(PLANNED) if log is None else log
    asked = [an_answer(week, *WELL) for week in PLANNED] if answers is None else answers
    return of_delivery(
        a_delivery(**{"sent_participants": [a_runner()], "sent_weeks": rows, "sent_symptoms": asked, **changes})
    )


def clean() -> Context:
    return told()


def week(number: int, *minutes: float) -> Rows:
    """The planned log with one week changed, or taken out."""
    rest = {n: pair for n, pair in PLANNED.items() if n != number}
    return a_log(dict(sorted({**rest, **({number: minutes} if minutes else {})}.items())))


def answer(*points: int | None) -> Context:
    """One week answered otherwise."""
    return told(answers=[an_answer(n, *(points if n == 3 else WELL)) for n in PLANNED])


PLANTED = {
    "log_has_every_week": Case(lambda: told(week(4)), "participant_id P1"),
    "minutes_of_a_week_are_possible": Case(lambda: told(week(4, 1100, 150)), "participant_id P1, week 4"),
    "log_agrees_with_the_usual_distance": Case(
        lambda: told(a_log({n: (a / 60, b / 60) for n, (a, b) in PLANNED.items()})), "participant_id P1"
    ),
    "minutes_of_two_kinds_of_footwear_are_not_exchanged": Case(
        lambda: told(week(2, 52, 150)), "participant_id P1, week 2"
    ),
    "log_and_questionnaire_cover_the_same_weeks": Case(
        lambda: told(answers=[an_answer(n, *WELL) for n in PLANNED if n != 5]), "participant_id P1"
    ),
    "questionnaire_points_are_those_of_the_form": Case(lambda: answer(1, 2, 1, 0), "participant_id P1, week 3"),
    "later_answers_agree_with_the_first": Case(lambda: answer(0, 8, 0, 0), "participant_id P1, week 3"),
}
CLEAN = dict.fromkeys(PLANTED, clean)


def test_the_planted_log_has_one_fault_each() -> None:
    for name, case in PLANTED.items():
        found = {other for other in PLANTED if status(other, case.context()) == "found"}
        expected = {name, *({"log_and_questionnaire_cover_the_same_weeks"} if name == "log_has_every_week" else ())}
        assert found == expected, name


def test_the_weeks_that_are_missing_are_named() -> None:
    log = a_log({n: pair for n, pair in PLANNED.items() if n not in (3, 6)})
    (finding,) = run("log_has_every_week", told(log)).findings
    assert "from week 1 to week 8, without weeks 3, 6." in finding.seen


def test_a_log_may_begin_and_end_anywhere() -> None:
    log = a_log({n: pair for n, pair in PLANNED.items() if 3 <= n <= 6})
    assert status("log_has_every_week", told(log)) == "pass"


@pytest.mark.parametrize(("minutes", "expected"), [(1050, "pass"), (1051, "found")])
def test_twenty_hours_in_all_footwear_are_the_most(minutes: float, expected: str) -> None:
    assert status("minutes_of_a_week_are_possible", told(week(5, minutes, 150))) == expected


@pytest.mark.parametrize(("distance", "expected"), [(13, "found"), (14, "pass"), (79, "pass"), (82, "found")])
def test_pace_by_log_and_distance_has_limits(distance: float, expected: str) -> None:
    runner = a_runner(weekly_distance_km_per_wk=float(distance))  # the middle week has 200 min
    assert status("log_agrees_with_the_usual_distance", told(sent_participants=[runner])) == expected


def test_no_usual_distance_no_pace() -> None:
    runner = a_runner(weekly_distance_km_per_wk=None)
    assert status("log_agrees_with_the_usual_distance", told(sent_participants=[runner])) == "skipped"


@pytest.mark.parametrize(
    ("number", "minutes", "expected"),
    [
        (2, (52, 150), "found"),  # 74 to 26 %
        (4, (80, 120), "pass"),  # 60 to 40 %: too near to tell
        (2, (20, 180), "pass"),  # 10 %: not the planned week turned round
        (4, (40, 160), "pass"),  # a steep week, for the safety lead and not for the laboratory
        (8, (150, 50), "pass"),  # nothing after it to compare with
    ],
)
def test_only_a_week_that_fits_when_turned_is_told(number: int, minutes: tuple, expected: str) -> None:
    assert status("minutes_of_two_kinds_of_footwear_are_not_exchanged", told(week(number, *minutes))) == expected


def test_a_week_of_one_table_only_is_told_by_the_other_s_name() -> None:
    (finding,) = run("log_and_questionnaire_cover_the_same_weeks", told(week(4))).findings
    assert (finding.file, finding.seen) == ("weeks.csv", "Runner P1 has answers but no running log for week 4.")


def test_a_delivery_without_questionnaires_is_not_compared() -> None:
    assert status("log_and_questionnaire_cover_the_same_weeks", told(answers=[])) == "skipped"


@pytest.mark.parametrize(
    ("points", "form", "first"),
    [
        ((8, 8, 0, 8), "pass", "pass"),
        ((17, 17, 25, 17), "pass", "pass"),
        ((25, None, None, None), "pass", "pass"),
        ((0, 0, 0, 0), "pass", "pass"),
        ((8, 8, None, 8), "pass", "found"),
        ((0, None, 17, None), "pass", "found"),
        ((8, 6, 13, 8), "found", "pass"),
        ((1, 1, 1, 1), "found", "pass"),
        ((None, 8, 8, 8), "pass", "pass"),
    ],
)
def test_answers_are_told_once(points: tuple, form: str, first: str) -> None:
    assert status("questionnaire_points_are_those_of_the_form", answer(*points)) == form
    assert status("later_answers_agree_with_the_first", answer(*points)) == first


def test_numbers_of_answers_in_place_of_points_are_guessed() -> None:
    (finding,) = run("questionnaire_points_are_those_of_the_form", answer(1, 2, 1, 0)).findings
    assert finding.seen.endswith("for question 1 that is none of its points; numbers of the answers, it seems.")
    (finding,) = run("questionnaire_points_are_those_of_the_form", answer(8, 6, 13, 8)).findings
    assert finding.seen.endswith("for question 2 that is none of its points.")


@pytest.mark.parametrize("points", [(0, 8, None, None), (8, None, 0, 0), (17, 8, 8, None)])
def test_a_finding_on_a_form_tells_no_answer(points: tuple) -> None:
    """Findings are on the overview, on the site's page and in releases; answers are for the safety lead."""
    (finding,) = run("later_answers_agree_with_the_first", answer(*points)).findings
    (other,) = run("later_answers_agree_with_the_first", answer(0, 25, None, None)).findings
    assert finding.seen == other.seen


@pytest.mark.parametrize("name", PLANTED)
def test_nothing_is_told_of_weeks_after_consent_was_taken_back(name: str) -> None:
    received = PLANTED[name].context().delivery
    assert received is not None
    consents = [*(a_consent(scope) for scope in SCOPES), a_consent("pooling", "withdrawn", 0)]
    tables = {**received.tables, "sent_consents": a_delivery(sent_consents=consents).tables["sent_consents"]}
    assert status(name, of_covered(replace(received, tables=tables))) == "skipped"


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("cell", ["participant_id", "week", "condition", "running_min", "question_1_points"])
def test_cells_that_are_not_known_break_nothing(cell: str, subtests: pytest.Subtests) -> None:
    log = [{**row, cell: None} if cell in row else row for row in a_log(PLANNED)]
    answers = [{**row, cell: None} if cell in row else row for row in (an_answer(n, *WELL) for n in PLANNED)]
    for name in PLANTED:
        with subtests.test(name=name):
            assert status(name, told(log, answers)) in ("pass", "skipped")
