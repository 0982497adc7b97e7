"""Faults in what the tables say of people, visits and the order of recordings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Sending
from benchmarks.detection.sending import DIARISTS, STANDING, Kept, Sent, clean
from benchmarks.detection.specimens import Case
from demo_site_uploads.simulator.delivery import Session
from demo_site_uploads.simulator.tables import Row, Rows

PART = 0.25  # a delivery takes as long as several trials
Change = Callable[[Rows, float, np.random.Generator], None]


def on_rows(change: Change) -> Sending:
    """A plant that changes rows of the tables."""

    def send(case: Case, size: float, chance: np.random.Generator) -> Sent:
        return clean(case).spoilt(lambda rows: change(rows, size, chance))

    return send


def _cell(table: str, column: str, wrong: Callable[[Any, float, np.random.Generator], Any]) -> Sending:
    """A plant that writes a wrong value into one cell of the first row of a table."""

    def change(rows: Rows, size: float, chance: np.random.Generator) -> None:
        row = getattr(rows, table)[0]
        row[column] = wrong(row[column], size, chance)

    return on_rows(change)


def _off(value: Any, size: float, chance: np.random.Generator) -> float:
    return round(float(value) * (1 + size / 100 * chance.choice([-1, 1])), 2)


def _twin(rows: Rows, size: float, chance: np.random.Generator) -> None:
    one = rows.participants[0]["participant_id"]
    rows.participants.append({**rows.participants[0], "participant_id": "FS-98"})
    rows.consents += [{**row, "participant_id": "FS-98"} for row in rows.consents if row["participant_id"] == one]


def _later_mass(rows: Rows, size: float, chance: np.random.Generator) -> None:
    later = _later_session(rows)
    later["mass_kg"] = _off(later["mass_kg"], size, chance)


def _later_session(rows: Rows) -> Row:
    own = [row for row in rows.sessions if row["participant_id"] == rows.sessions[0]["participant_id"]]
    return max(own, key=lambda row: int(row["study_day"]))


def _visit_late(rows: Rows, size: float, chance: np.random.Generator) -> None:
    planned = {"week_0": 0, "week_5": 35, "week_10": 70}
    rows.sessions[0]["study_day"] = planned[rows.sessions[0]["visit"]] + int(size)


def _visits_exchanged(rows: Rows, size: float, chance: np.random.Generator) -> None:
    one, other = rows.sessions[0], _later_session(rows)
    one["study_day"], other["study_day"] = other["study_day"], one["study_day"]


def _visit_twice(rows: Rows, size: float, chance: np.random.Generator) -> None:
    first = rows.sessions[0]
    rows.sessions.append({**first, "session_id": f"{first['session_id']}-b", "study_day": first["study_day"] + 1})


def _later_speed(rows: Rows, size: float, chance: np.random.Generator) -> None:
    later = _later_session(rows)
    later["set_speed_m_per_s"] = _off(later["set_speed_m_per_s"], size, chance)


def _leans_on_another(rows: Rows, size: float, chance: np.random.Generator) -> None:
    first = rows.sessions[0]
    others = [row["session_id"] for row in rows.sessions if row["participant_id"] != first["participant_id"]]
    run = next(row for row in _own_trials(rows) if row["kind"] == "running")
    run["standing_session_id"] = str(chance.choice(others))


def _own_trials(rows: Rows) -> list[Row]:
    return [row for row in rows.trials if row["session_id"] == rows.sessions[0]["session_id"]]


def _number_twice(rows: Rows, size: float, chance: np.random.Generator) -> None:
    own = _own_trials(rows)
    own[-1]["trial_order"] = own[int(chance.integers(len(own) - 1))]["trial_order"]


def _number_left_out(rows: Rows, size: float, chance: np.random.Generator) -> None:
    _own_trials(rows)[-1]["trial_order"] += 1


def _stood_after(rows: Rows, size: float, chance: np.random.Generator) -> None:
    own = _own_trials(rows)
    run = next(row for row in own if row["kind"] == "running")
    stood = next(row for row in own if row["kind"] == "standing" and row["condition"] == run["condition"])
    run["trial_order"], stood["trial_order"] = stood["trial_order"], run["trial_order"]


def _more_in_one(rows: Rows, size: float, chance: np.random.Generator) -> None:
    """So many running trials in one condition, one in another."""
    own = _own_trials(rows)
    run = next(row for row in own if row["kind"] == "running")
    other = next(c for c in ("cushioned", "thin_soled", "unshod") if c != run["condition"])
    wanted = [run["condition"]] * (int(size) - 1) + [other]
    for number, condition in enumerate(wanted, len(own) + 1):
        trial = f"{run['trial_id']}-{number}"
        more = {"trial_id": trial, "condition": condition, "trial_order": number, "file": f"trials/{trial}.c3d"}
        rows.trials.append({**run, **more, "sidecar": None})


def _one_order(case: Case, size: float, chance: np.random.Generator) -> Sent:
    """So many runners stood in two conditions, all in the same order."""
    sessions = [Session(name, "week_0", case.site) for name in DIARISTS[: int(size)]]
    conditions = [str(c) for c in chance.choice(["cushioned", "thin_soled", "unshod"], 2, replace=False)]
    trials = tuple(Kept(s, c, "standing", STANDING) for s in sessions for c in conditions)
    return Sent(replace(clean(case).delivery, trials=trials, bouts=(), diaries=()))


def plant_of(
    check_name: str, what: str, why: str, send: Sending, sizes: tuple[float, ...] = PRESENT, matters: float = 1.0,
    unit: str = "",
) -> Plant:  # fmt: skip
    """A plant in a delivery, there or not unless sizes are given."""
    return Plant(check_name, what, unit, sizes, matters, why, send=send, share_of_trials=PART)


_PEOPLE = (
    plant_of(
        "runners_are_adults_of_a_credible_age", "the year of enrolment stands for that of birth",
        "age goes into the comparison of runners", _cell("participants", "birth_year", lambda *_: 2025),
    ),
    plant_of(
        "stature_is_that_of_an_adult", "the stature is {size}, with two figures exchanged or misread",
        "segments that no marker shows take their length from it",
        _cell("participants", "stature_m", lambda value, size, chance: size), (1.45, 1.36, 2.17), 1.36, "m",
    ),
    plant_of(
        "leg_length_fits_stature", "the leg is {size} longer or shorter than measured", "leg stiffness goes with its square",
        _cell("participants", "leg_length_m", _off), (5.0, 8.0, 12.0, 20.0), 12.0, "%",
    ),
    plant_of(
        "mass_fits_stature", "the mass is in pounds", "every force is divided by it",
        _cell("participants", "mass_kg", lambda value, size, chance: round(value * 2.2046, 1)),
    ),
    plant_of(
        "no_runner_is_enrolled_twice", "one person has two ids", "one person counts as two", on_rows(_twin),
    ),
    plant_of(
        "mass_changes_little_between_visits", "the mass at the later visit is {size} off",
        "every force is divided by it; over a day mass changes by 1 to 2 %", on_rows(_later_mass),
        (3.0, 5.0, 8.0, 12.0), 8.0, "%",
    ),
)  # fmt: skip
_PROTOCOL = (
    plant_of(
        "visits_are_near_their_planned_week", "the visit is {size} late", "the body has had a third of the time more",
        on_rows(_visit_late), (7.0, 14.0, 21.0), 14.0, "d",
    ),
    plant_of(
        "visits_are_in_the_order_of_the_plan", "the days of two visits are exchanged",
        "every change over the weeks is turned round", on_rows(_visits_exchanged),
    ),
    plant_of("each_visit_has_one_session", "a visit has two sessions", "it counts twice", on_rows(_visit_twice)),
    plant_of(
        "set_speed_stays_the_same_between_visits", "the set speed of the later visit is {size} off",
        "contact time and loading rate change by as much as between shoes", on_rows(_later_speed),
        (3.0, 6.0, 10.0, 20.0), 10.0, "%",
    ),
    plant_of(
        "set_speed_is_a_running_speed", "the set speed is 9 km/h, and the table says 9", "every speed is 3.6 times too large",
        _cell("sessions", "set_speed_m_per_s", lambda *_: 9.0),
    ),
    plant_of(
        "standing_session_is_of_the_same_runner", "a trial leans on the standing trial of another runner",
        "its angles are counted from another body", on_rows(_leans_on_another),
    ),
    plant_of(
        "surface_is_that_of_the_laboratory", "a treadmill is called a runway, or the other way round",
        "speed and step length are computed in another way",
        _cell("sessions", "surface", lambda value, *_: {"treadmill": "runway", "runway": "treadmill"}[value]),
    ),
    plant_of(
        "trial_order_is_unique_in_a_session", "two trials have one number", "what came first is not known",
        on_rows(_number_twice),
    ),
    plant_of(
        "trial_order_has_no_hole", "a number is left out", "a trial may have stayed at the laboratory",
        on_rows(_number_left_out),
    ),
    plant_of(
        "standing_trial_comes_before_running", "the runner stood after running",
        "a marker may have been put back in between", on_rows(_stood_after),
    ),
    plant_of(
        "conditions_have_about_as_many_trials", "one condition has {size} running trials and another one",
        "one condition is judged by one trial", on_rows(_more_in_one), (3.0, 4.0, 8.0), 4.0, "1",
    ),
    plant_of(
        "condition_order_changes_from_runner_to_runner", "all of {size} runners met the conditions in one order",
        "what comes last is run tired; with fewer it may be chance", _one_order, (6.0, 8.0, 12.0), 8.0, "1",
    ),
)  # fmt: skip
PLANTS = (*_PEOPLE, *_PROTOCOL)
