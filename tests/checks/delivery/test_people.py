"""Checks of what the tables say of the runners themselves."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest

from checks.context import Context
from checks.findings import rows_of
from tests.builders import a_study
from tests.checks.received_builders import a_delivery
from tests.checks.running_checks import Case, of_delivery, run, status
from tests.checks.study_builders import a_runner, two_visits

IN_2026 = a_study(limits={"runners_are_adults_of_a_credible_age": {"in_year": 2026}})


def people(*rows: dict[str, Any]) -> Context:
    return of_delivery(a_delivery(sent_participants=list(rows)), IN_2026)


def clean() -> Context:
    return people(a_runner(), a_runner("P2", birth_year=1975, mass_kg=71.0))


PLANTED = {
    "runners_are_adults_of_a_credible_age": Case(
        lambda: people(a_runner(birth_year=1940)), "participant_id P1, column birth_year", findings=2
    ),
    "stature_is_that_of_an_adult": Case(
        lambda: people(a_runner(stature_m=1.18)), "participant_id P1, column stature_m", findings=2
    ),
    "leg_length_fits_stature": Case(
        lambda: people(a_runner(leg_length_m=0.75)), "participant_id P1, column leg_length_m", findings=2
    ),
    "mass_fits_stature": Case(lambda: people(a_runner(mass_kg=132.0)), "participant_id P1, column mass_kg", findings=2),
    "no_runner_is_enrolled_twice": Case(lambda: people(a_runner(), a_runner("P2")), "participant_id P2"),
    "mass_changes_little_between_visits": Case(
        lambda: of_delivery(two_visits(mass_kg=65.5)), "session_id S2, column mass_kg", findings=2
    ),
}
CLEAN = {
    **dict.fromkeys(PLANTED, clean),
    "mass_changes_little_between_visits": lambda: of_delivery(two_visits()),
}


@pytest.mark.parametrize(
    ("birth_year", "expected"), [(1945, "found"), (1946, "pass"), (2008, "pass"), (2009, "found"), (2026, "found")]
)
def test_adults_are_of_eighteen_to_eighty_years(birth_year: int, expected: str) -> None:
    assert status("runners_are_adults_of_a_credible_age", people(a_runner(birth_year=birth_year))) == expected


def test_without_a_year_in_the_study_file_ages_are_counted_this_year() -> None:
    for years, expected in ((18, "pass"), (17, "found")):
        rows = [a_runner(birth_year=date.today().year - years)]
        assert (
            status("runners_are_adults_of_a_credible_age", of_delivery(a_delivery(sent_participants=rows))) == expected
        )


@pytest.mark.parametrize("birth_year", [1940, 2015])
def test_no_year_and_no_age_is_told(birth_year: int) -> None:
    (finding, *_) = run("runners_are_adults_of_a_credible_age", people(a_runner(birth_year=birth_year))).findings
    assert re.findall(r"\d+", finding.seen) in (["1", "80"], ["1", "18"])  # runner P1 and the limit
    assert str(birth_year) not in "".join(str(value) for value in rows_of([finding])[0].values())


@pytest.mark.parametrize(("stature", "expected"), [(1.39, "found"), (1.41, "pass"), (2.09, "pass"), (2.11, "found")])
def test_stature_has_limits(stature: float, expected: str) -> None:
    assert status("stature_is_that_of_an_adult", people(a_runner(stature_m=stature))) == expected


@pytest.mark.parametrize(("leg", "expected"), [(0.81, "found"), (0.82, "pass"), (0.98, "pass"), (0.99, "found")])
def test_legs_are_about_half_of_stature(leg: float, expected: str) -> None:
    assert status("leg_length_fits_stature", people(a_runner(leg_length_m=leg))) == expected  # at 1.70 m


def test_pounds_are_guessed_where_they_would_fit() -> None:
    (finding, *_) = run("mass_fits_stature", people(a_runner(mass_kg=132.0))).findings
    assert "were it pounds, 59.9 kg" in finding.seen
    (finding, *_) = run("mass_fits_stature", people(a_runner(mass_kg=40.0))).findings
    assert "pounds," not in finding.seen


@pytest.mark.parametrize(("mass", "expected"), [(43.0, "found"), (44.0, "pass"), (109.0, "pass"), (110.5, "found")])
def test_mass_for_the_square_of_stature_has_limits(mass: float, expected: str) -> None:
    assert status("mass_fits_stature", people(a_runner(mass_kg=mass))) == expected


@pytest.mark.parametrize(
    "other",
    [
        {"birth_year": 1991},
        {"sex": "male"},
        {"stature_m": 1.71},
        {"mass_kg": 60.1},
        {"leg_length_m": 0.91},
        {"leg_length_m": None},
        {"habitual_footwear": "unshod"},
        {"weekly_distance_km_per_wk": 31.0},
    ],
)
def test_one_difference_makes_two_people(other: dict) -> None:
    assert status("no_runner_is_enrolled_twice", people(a_runner(), a_runner("P2", **other))) == "pass"


def test_three_alike_are_told_with_the_first() -> None:
    findings = run("no_runner_is_enrolled_twice", people(a_runner(), a_runner("P2"), a_runner("P3"))).findings
    assert [re.findall(r"P\d", finding.seen) for finding in findings] == [["P2", "P1"], ["P3", "P1"]]


@pytest.mark.parametrize(("mass", "expected"), [(57.2, "found"), (57.5, "pass"), (64.6, "pass"), (64.8, "found")])
def test_mass_may_change_by_six_percent_between_visits(mass: float, expected: str) -> None:
    assert status("mass_changes_little_between_visits", of_delivery(two_visits(mass_kg=mass))) == expected


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    "cell", ["participant_id", "birth_year", "sex", "stature_m", "mass_kg", "leg_length_m", "habitual_footwear"]
)
def test_cells_that_are_not_known_break_nothing(cell: str, subtests: pytest.Subtests) -> None:
    for name in PLANTED:
        with subtests.test(name=name):
            assert status(name, people({**a_runner(), cell: None})) in ("pass", "skipped")
