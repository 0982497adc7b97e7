"""Checks of visits, set speeds and surfaces."""

from __future__ import annotations

from typing import Any

import pytest

from checks.context import Context
from tests.checks.received_builders import a_delivery, a_row
from tests.checks.running_checks import Case, of_delivery, run, status
from tests.checks.study_builders import a_session, two_visits


def clean() -> Context:
    return of_delivery(two_visits())


def last(**changes: Any) -> Context:
    return of_delivery(two_visits(**changes))


def only(**changes: Any) -> Context:
    return of_delivery(a_delivery(sent_sessions=[a_session(**changes)]))


def exchanged() -> Context:
    """Both visits under the other's name."""
    sessions = [a_session(visit="last"), a_session("S2", visit="first", study_day=70)]
    return of_delivery(a_delivery(sent_sessions=sessions, sent_trials=[]))


def leaning(session: str, **changes: Any) -> Context:
    """A running trial of P1's second visit that leans on the standing trial of ``session``; S3 is of P2."""
    sessions = [a_session(), a_session("S2", visit="last", study_day=70), a_session("S3", "P2")]
    trials = [a_row("T0", "standing"), a_row("T1", session_id="S2", **{"standing_session_id": session} | changes)]
    return of_delivery(a_delivery(sent_sessions=sessions, sent_trials=trials))


PLANTED = {
    "visits_are_near_their_planned_week": Case(
        lambda: last(study_day=91), "session_id S2, column study_day", findings=2
    ),
    "visits_are_in_the_order_of_the_plan": Case(exchanged, "session_id S1, column visit", findings=2),
    "each_visit_has_one_session": Case(
        lambda: last(visit="first", study_day=5), "session_id S2, column visit", findings=2
    ),
    "set_speed_stays_the_same_between_visits": Case(
        lambda: last(set_speed_m_per_s=3.4), "session_id S2, column set_speed_m_per_s", findings=2
    ),
    "set_speed_is_a_running_speed": Case(
        lambda: only(set_speed_m_per_s=9.0), "session_id S1, column set_speed_m_per_s", findings=2
    ),
    "standing_session_is_of_the_same_runner": Case(lambda: leaning("S3"), "trial_id T1, column standing_session_id"),
    "surface_is_that_of_the_laboratory": Case(
        lambda: only(surface="runway"), "session_id S1, column surface", findings=2
    ),
}
CLEAN = {**dict.fromkeys(PLANTED, clean), "standing_session_is_of_the_same_runner": lambda: leaning("S1")}


@pytest.mark.parametrize(("day", "expected"), [(59, "found"), (60, "pass"), (80, "pass"), (81, "found")])
def test_a_visit_may_be_ten_days_from_the_plan(day: int, expected: str) -> None:
    assert status("visits_are_near_their_planned_week", last(study_day=day)) == expected


def test_a_visit_that_is_early_says_so() -> None:
    findings = run("visits_are_near_their_planned_week", last(study_day=30)).findings
    assert "day 30, 40 days before the plan" in findings[0].seen


def test_the_same_day_for_two_visits_is_not_the_wrong_order() -> None:
    context = last(study_day=0)
    assert status("visits_are_in_the_order_of_the_plan", context) == "pass"


def test_both_sessions_of_an_exchange_are_told_each_with_the_other() -> None:
    one, two = run("visits_are_in_the_order_of_the_plan", exchanged()).findings
    assert "Session S1, visit 'last', was on study day 0, and session S2, visit 'first', on day 70" in one.seen
    assert two.place == "session_id S2, column visit"


def test_two_runners_may_each_come_to_a_visit() -> None:
    sessions = [a_session(), a_session("S2", "P2")]
    assert status("each_visit_has_one_session", of_delivery(a_delivery(sent_sessions=sessions))) == "pass"


@pytest.mark.parametrize(("speed", "expected"), [(2.84, "found"), (2.86, "pass"), (3.15, "pass"), (3.16, "found")])
def test_set_speed_may_differ_by_a_twentieth(speed: float, expected: str) -> None:
    assert status("set_speed_stays_the_same_between_visits", last(set_speed_m_per_s=speed)) == expected


@pytest.mark.parametrize(("speed", "expected"), [(1.4, "found"), (1.5, "pass"), (7.0, "pass"), (7.2, "found")])
def test_running_speeds_have_limits(speed: float, expected: str) -> None:
    assert status("set_speed_is_a_running_speed", only(set_speed_m_per_s=speed)) == expected


@pytest.mark.parametrize("column", ["set_speed_m_per_s", "belt_speed_m_per_s"])
def test_a_speed_of_a_trial_is_looked_at_like_that_of_a_session(column: str) -> None:
    (finding,) = run("set_speed_is_a_running_speed", leaning("S1", **{column: 9.0})).findings
    assert (finding.trial_id, finding.place) == ("T1", f"trial_id T1, column {column}")


def test_a_belt_speed_on_a_runway_goes_back() -> None:
    trials = [a_row("T1", **{"session_id": "S1", "belt_speed_m_per_s": 3.0})]
    told = a_delivery(sent_sessions=[a_session(surface="runway")], sent_trials=trials)
    (finding,) = run("set_speed_is_a_running_speed", of_delivery(told)).findings
    assert (str(finding.weight), finding.trial_id) == ("returns", "T1")
    assert "its session, S1, was on a runway, which has no belt" in finding.seen


def test_kilometres_an_hour_are_turned_into_metres_a_second() -> None:
    findings = run("set_speed_is_a_running_speed", only(set_speed_m_per_s=9.0)).findings
    assert "it would be 2.50 m/s" in findings[0].seen


@pytest.mark.parametrize("where", [{"site": "nowhere"}, {"site": "way"}])
def test_no_surface_is_told_where_the_laboratory_is_in_doubt(where: dict) -> None:
    assert status("surface_is_that_of_the_laboratory", of_delivery(a_delivery(**where))) == "skipped"


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    "cell", ["session_id", "participant_id", "visit", "study_day", "surface", "set_speed_m_per_s", "mass_kg"]
)
def test_cells_that_are_not_known_break_nothing(cell: str, subtests: pytest.Subtests) -> None:
    for name in PLANTED:
        with subtests.test(name=name):
            assert status(name, last(**{cell: None})) in ("pass", "skipped")


def test_of_a_session_that_stands_twice_nothing_is_told() -> None:
    context = of_delivery(a_delivery(sent_sessions=[a_session(study_day=300), a_session(study_day=301)]))
    assert {status(name, context) for name in PLANTED} == {"skipped"}
