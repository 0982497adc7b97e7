"""Whether what the tables say of a runner can be true: age, size, mass, and nobody twice.

Messages name no birth year and no age: what tells people apart is not repeated where findings are shown.
"""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import Any

from checks.delivery.bag import known
from checks.delivery.protocol import at_session, visits_of_runners
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.received import Received


def _people(delivery: Received, *needed: str) -> list[dict[str, Any]]:
    """Rows of participants.csv whose id and ``needed`` cells are known."""
    people = delivery.tables.get("sent_participants")
    if people is None:
        return []
    rows = [{str(name): value for name, value in row.items()} for row in people.to_dict("records")]
    return [row for row in rows if all(known(row[name]) for name in ("participant_id", *needed))]


def _at(row: dict[str, Any], column: str) -> dict[str, Any]:
    runner = row["participant_id"]
    place = f"participant_id {runner}, column {column}"
    return {"participant_id": runner, "runner": runner, "file": "participants.csv", "place": place}


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="By the birth year, runner {runner} is {which}.",
    expected="An adult of {youngest_a:g} to {oldest_a:g} years.",
    remedy="Compare the birth year with the enrolment form: two figures exchanged, or this year in its place. If it is "
    "right, ask the data manager whether the consent of this runner holds for the study.",
    words=("runner", "which"),
    limits={
        "youngest_a": Limit("a", "common practice: adults consent for themselves"),
        "oldest_a": Limit(
            "a",
            "common practice: a slip of the pen is likelier; above 89 another check stops the delivery",
        ),
        "in_year": Limit("a", "year that ages are counted in; 0 means this year, as dates do not travel"),
    },
)
def runners_are_adults_of_a_credible_age(
    delivery: Received, *, youngest_a: float = 18, oldest_a: float = 80, in_year: float = 0
) -> Looked:
    """The birth year makes the runner an adult of a credible age.

    Outcomes change with age, and a child needs another consent. The day of the visit is not known here, so age is
    counted today, at the end of the year: a runner given as too young was at least as young then.
    """
    year = int(in_year) or date.today().year
    people = _people(delivery, "birth_year")
    ages = [(row, year - int(row["birth_year"])) for row in people]
    faults = [
        {
            **_at(row, "birth_year"),
            "which": f"younger than {youngest_a:g} years" if age < youngest_a else f"older than {oldest_a:g} years",
        }
        for row, age in ages
        if not youngest_a <= age <= oldest_a
    ]
    return looked(len(people), faults) if people else nothing("no birth year is known")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runner {runner} is {stature:.2f} m tall.",
    expected="{lowest_m:g} to {highest_m:g} m.",
    remedy="Compare with the enrolment form: metres without shoes, not feet and inches, no figures exchanged. If it is "
    "right, leave it.",
    words=("runner", "stature"),
    limits={
        "lowest_m": Limit("m", "common practice: nearly all adults are taller"),
        "highest_m": Limit("m", "common practice: nearly all adults are shorter"),
    },
)
def stature_is_that_of_an_adult(delivery: Received, *, lowest_m: float = 1.40, highest_m: float = 2.10) -> Looked:
    """The stature is one that adults have.

    Lengths of segments that no marker shows are taken from it.
    """
    people = _people(delivery, "stature_m")
    faults = [
        {**_at(row, "stature_m"), "stature": float(row["stature_m"])}
        for row in people
        if not lowest_m <= float(row["stature_m"]) <= highest_m
    ]
    return looked(len(people), faults) if people else nothing("no stature is known")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runner {runner} has legs of {leg:.3f} m at a stature of {stature:.2f} m, {share:.1f} % of it.",
    expected="{lowest_percent:g} to {highest_percent:g} % from greater trochanter to ground; 53 % is usual.",
    remedy="Measure from the greater trochanter to the ground, standing without shoes; from the spine of the pelvis it "
    "would be longer, to the malleolus shorter. Correct leg length or stature, or leave it if both are right.",
    words=("runner", "leg", "stature", "share"),
    limits={
        "lowest_percent": Limit("%", "53 % of stature (Drillis & Contini 1966, from memory) less a tenth: own limit"),
        "highest_percent": Limit("%", "53 % of stature (Drillis & Contini 1966, from memory) and a tenth: own limit"),
    },
)
def leg_length_fits_stature(
    delivery: Received, *, lowest_percent: float = 48.0, highest_percent: float = 58.0
) -> Looked:
    """Leg length is the usual share of stature.

    Leg stiffness is computed from it, and a leg measured from another point makes the spring another one.
    """
    people = [row for row in _people(delivery, "stature_m", "leg_length_m") if float(row["stature_m"]) > 0]
    faults = [
        {**_at(row, "leg_length_m"), "leg": leg, "stature": float(row["stature_m"]), "share": share}
        for row in people
        if not lowest_percent
        <= (share := 100 * (leg := float(row["leg_length_m"])) / float(row["stature_m"]))
        <= highest_percent
    ]
    return looked(len(people), faults) if people else nothing("no leg length is known")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runner {runner} weighs {mass:.1f} kg at {stature:.2f} m, which is {index:.1f} kg/m2{hint}.",
    expected="{lightest:g} to {heaviest:g} kg/m2.",
    remedy="Compare mass and stature with the enrolment form: kilograms, not pounds; metres; rows of two runners "
    "exchanged. If both are right, leave them. It is a note on the data and says nothing about the runner's health.",
    words=("runner", "mass", "stature", "index", "hint"),
    limits={
        "lightest": Limit("kg/m2", "common practice: own limit, well below lean runners"),
        "heaviest": Limit("kg/m2", "common practice: own limit, well above most runners"),
    },
)
def mass_fits_stature(delivery: Received, *, lightest: float = 15.0, heaviest: float = 38.0) -> Looked:
    """Mass and stature of a runner go together.

    Every force is divided by the mass, so pounds in its place make a runner land at half the force.
    """
    people = [row for row in _people(delivery, "stature_m", "mass_kg") if float(row["stature_m"]) > 0]
    faults = []
    for row in people:
        mass, stature = float(row["mass_kg"]), float(row["stature_m"])
        index = mass / stature**2
        if not lightest <= index <= heaviest:
            pounds = lightest <= 0.4536 * index <= heaviest and index > heaviest
            hint = f"; were it pounds, {0.4536 * mass:.1f} kg" if pounds else ""
            faults.append({**_at(row, "mass_kg"), "mass": mass, "stature": stature, "index": index, "hint": hint})
    return looked(len(people), faults) if people else nothing("no runner with mass and stature")


_SAME = ("birth_year", "sex", "stature_m", "mass_kg")
_ALSO = ("leg_length_m", "habitual_footwear", "weekly_distance_km_per_wk")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runners {runner} and {other} have the same birth year, sex, stature and mass, and nothing else that differs.",
    expected="A row of its own for each person, and one id for each.",
    remedy="Look in the list that only the site has. If they are one person under two ids, tell the data manager "
    "which id stays and send the rows with that id; if they are two, leave them.",
    words=("runner", "other"),
)
def no_runner_is_enrolled_twice(delivery: Received) -> Looked:
    """No two runners are alike in all that the table tells of them.

    One person under two ids counts as two, and a withdrawn consent would reach only one of them.
    """
    people, faults = _people(delivery, *_SAME), []
    first: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in people:
        own = tuple(row[name] if known(row[name]) else None for name in (*_SAME, *_ALSO))
        other = first.setdefault(own, row)
        if other["participant_id"] != row["participant_id"]:
            place = f"participant_id {row['participant_id']}"
            faults.append({**_at(row, ""), "place": place, "other": other["participant_id"]})
    return looked(len(people), faults) if people else nothing("no runner with birth year, sex, stature and mass")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runner {runner} weighs {now:.1f} kg in session {session} and weighed {before:.1f} kg in session {other}, "
    "{change:+.1f} %.",
    expected="Within {jump_percent:g} % from one visit to the next.",
    remedy="Compare both with the paper record, and the scales with a known mass: two figures exchanged, or shoes and "
    "a vest weighed along. If both are right, leave them.",
    words=("runner", "now", "session", "before", "other", "change"),
    limits={"jump_percent": Limit("%", "common practice for five weeks; over a day mass changes by 1 to 2 %")},
)
def mass_changes_little_between_visits(delivery: Received, *, jump_percent: float = 6.0) -> Looked:
    """A runner's mass changes little from one visit to the next.

    Every force is divided by it, so a slip at one visit looks like a change over the weeks.
    """
    faults, examined = [], 0
    for runner, rows in visits_of_runners(delivery, "mass_kg"):
        for earlier, later in pairwise(rows):
            before, now = float(earlier["mass_kg"]), float(later["mass_kg"])
            examined += 1
            change = 100 * (now / before - 1) if before > 0 else 0.0
            if abs(change) > jump_percent + 1e-9:
                told = {"runner": runner, "now": now, "before": before, "change": change}
                faults.append({**at_session(later, "mass_kg"), **told, "other": earlier["session_id"]})
    return looked(examined, faults) if examined else nothing("no runner with masses of two visits")
