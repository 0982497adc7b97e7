"""Whether sessions and trials keep to the study's plan: visits, set speeds, surfaces, and the order of recordings.

Looks at the tables of one delivery only, so nothing here asks for what another delivery may bring.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from checks.delivery.bag import known
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.fields import DAYS_PER_WEEK
from schemas.received import Received
from schemas.study import Study


def sessions_once(delivery: Received) -> list[dict[str, Any]]:
    """Sessions that stand once in their table, in its order; of the others nobody knows which row counts."""
    sessions = delivery.tables.get("sent_sessions")
    if sessions is None:
        return []
    once = sessions.dropna(subset=["session_id"]).drop_duplicates("session_id", keep=False)
    return [{str(name): value for name, value in row.items()} for row in once.to_dict("records")]


def visits_of_runners(delivery: Received, *needed: str) -> list[tuple[Any, list[dict[str, Any]]]]:
    """Each runner with the sessions whose ``needed`` cells are known, in order of study day."""
    found: dict[Any, list[dict[str, Any]]] = {}
    for row in sessions_once(delivery):
        if all(known(row[name]) for name in ("participant_id", "study_day", *needed)):
            found.setdefault(row["participant_id"], []).append(row)
    return [(runner, sorted(rows, key=lambda row: int(row["study_day"]))) for runner, rows in found.items()]


def at_session(row: dict[str, Any], column: str) -> dict[str, Any]:
    """Where a cell of sessions.csv is, for a fault that touches the session's trials."""
    session = row["session_id"]
    place = f"session_id {session}, column {column}"
    return {"session_id": session, "session": session, "file": "sessions.csv", "place": place}


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Session {session}, visit '{visit}', was on study day {day}, {off} days {side} the plan.",
    expected="Day {planned}, which is week {week} of the study file, within {window_d:g} days.",
    remedy="Check visit and study_day with the paper record. If both are right, leave them: the data are kept, and the "
    "distance from the plan is shown.",
    words=("session", "visit", "day", "off", "side", "planned", "week"),
    limits={"window_d": Limit("d", "common practice: a week and some days of grace")},
)
def visits_are_near_their_planned_week(delivery: Received, study: Study, *, window_d: float = 10) -> Looked:
    """Each visit takes place near the week that the study file plans for it.

    What the runner's body has adapted to by then is counted in weeks, and a visit three weeks late is another visit.
    """
    faults, examined = [], 0
    for row in sessions_once(delivery):
        visit = study.visits.get(row["visit"]) if known(row["visit"]) else None
        if visit is None or not known(row["study_day"]):
            continue
        examined += 1
        planned = DAYS_PER_WEEK * visit.planned_week
        off = int(row["study_day"]) - planned
        if abs(off) > window_d:
            values = {"visit": row["visit"], "day": int(row["study_day"]), "planned": planned, "off": abs(off)}
            side = "after" if off > 0 else "before"
            faults.append({**at_session(row, "study_day"), **values, "week": visit.planned_week, "side": side})
    return looked(examined, faults) if examined else nothing("no session has a visit of the plan and a study day")


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="Session {session}, visit '{visit}', was on study day {day}, and session {other}, visit '{other_visit}', on "
    "day {other_day}.",
    expected="The visits of a runner in the order of the study's plan.",
    remedy="Find out with the paper record which visit or study day is wrong, correct sessions.csv and send the trials "
    "of both sessions again.",
    words=("session", "visit", "day", "other", "other_visit", "other_day"),
)
def visits_are_in_the_order_of_the_plan(delivery: Received, study: Study) -> Looked:
    """A runner's visits follow each other in time as they do in the plan.

    Two visits exchanged turn every change over the weeks round.
    """
    faults, examined = [], 0
    for _, rows in visits_of_runners(delivery, "visit"):
        planned = [row for row in rows if row["visit"] in study.visits]
        weeks = [study.visits[row["visit"]].planned_week for row in planned]
        examined += len(planned) if len(planned) > 1 else 0
        for i, row in enumerate(planned):
            # of two visits exchanged both sessions are in doubt, so each is told with the other
            other = next((j for j in range(len(planned)) if (j - i) * (weeks[j] - weeks[i]) < 0), None)
            if other is not None:
                faults.append(
                    {
                        **at_session(row, "visit"),
                        "visit": row["visit"],
                        "day": int(row["study_day"]),
                        "other": planned[other]["session_id"],
                        "other_visit": planned[other]["visit"],
                        "other_day": int(planned[other]["study_day"]),
                    }
                )
    return looked(examined, faults) if examined else nothing("no runner with two visits in the delivery")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Session {session} is visit '{visit}' of runner {runner}, and so is session {other}.",
    expected="One session for each visit of a runner.",
    remedy="If one is another visit, correct the visit. If the visit was repeated because the first went wrong, say so "
    "in the comments of the trials; both are kept.",
    words=("session", "visit", "runner", "other"),
)
def each_visit_has_one_session(delivery: Received) -> Looked:
    """A runner comes to each visit of the plan once.

    A second session is a repeat, which counts twice, or a visit with the wrong name.
    """
    faults, examined = [], 0
    for runner, rows in visits_of_runners(delivery, "visit"):
        first: dict[Any, dict[str, Any]] = {}
        for row in rows:
            examined += 1
            other = first.setdefault(row["visit"], row)
            if other is not row:
                told = {"visit": row["visit"], "runner": runner, "other": other["session_id"]}
                faults.append({**at_session(row, "visit"), **told})
    return looked(examined, faults) if examined else nothing("no session with runner, visit and study day")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="The set speed of runner {runner} is {speed:.2f} m/s in session {session} and was {before:.2f} m/s in session "
    "{other}, {change:+.1f} %.",
    expected="The same speed at every visit, within {same_percent:g} %.",
    remedy="Check both with the protocol sheet. If the speed was changed on purpose, leave it; comparisons between "
    "these visits then compare speeds as well.",
    words=("runner", "speed", "session", "before", "other", "change"),
    limits={"same_percent": Limit("%", "common practice: sites hold 5 %")},
)
def set_speed_stays_the_same_between_visits(delivery: Received, *, same_percent: float = 5.0) -> Looked:
    """A runner's set speed is the same at every visit.

    Nearly every outcome changes with speed, so that another speed looks like a change over the weeks.
    """
    faults, examined = [], 0
    for runner, rows in visits_of_runners(delivery, "set_speed_m_per_s"):
        examined += max(0, len(rows) - 1)
        before = float(rows[0]["set_speed_m_per_s"])
        for row in rows[1:]:
            speed = float(row["set_speed_m_per_s"])
            change = 100 * (speed / before - 1) if before > 0 else math.nan
            if abs(change) > same_percent + 1e-9:
                told = {"runner": runner, "speed": speed, "before": before, "change": change}
                faults.append({**at_session(row, "set_speed_m_per_s"), **told, "other": rows[0]["session_id"]})
    return looked(examined, faults) if examined else nothing("no runner with set speeds of two visits")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="The {which} of {whose} is {speed:.2f} m/s; {but}.",
    expected="A running speed, {slowest_m_s:g} to {fastest_m_s:g} m/s, and a belt speed only on a treadmill.",
    remedy="{what_to_do}.",
    words=("which", "whose", "speed", "but", "what_to_do"),
    limits={
        "slowest_m_s": Limit("m/s", "common practice: below it people walk"),
        "fastest_m_s": Limit("m/s", "common practice: above it people sprint, which few treadmills do"),
    },
)
def set_speed_is_a_running_speed(delivery: Received, *, slowest_m_s: float = 1.5, fastest_m_s: float = 7.0) -> Looked:
    """Speeds, of sessions and of trials, are such at which people run, and belts are where there is a treadmill.

    Stride length on a treadmill, and what a metre costs, are computed from them. Speeds at which hardly anybody runs
    are noted, and held against the markers trial by trial; a trial with a belt speed on a runway goes back, since one
    of the two is another trial's.
    """
    examined, faults = 0, []
    surfaces = {row["session_id"]: row["surface"] for row in sessions_once(delivery)}
    for at, which, speed, session in _speeds(delivery):
        examined += 1
        told = {**at, "which": which, "speed": speed}
        if which == "belt speed" and surfaces.get(session) == "runway":
            but = f"its session, {session}, was on a runway, which has no belt"
            what_to_do = (
                "Empty belt_speed_m_per_s in trials.csv, or correct the surface in sessions.csv, and send the trial "
                "again"
            )
            faults.append({**told, "but": but, "what_to_do": what_to_do, "weight": Weight.RETURNS})
        elif not slowest_m_s <= speed <= fastest_m_s:
            but = f"read as km/h it would be {speed / 3.6:.2f} m/s"
            what_to_do = (
                "Check the unit: speeds are in metres a second, and treadmills often show km/h (divide by 3.6). If the "
                "speed is right, leave it"
            )
            faults.append({**told, "but": but, "what_to_do": what_to_do})
    return looked(examined, faults) if examined else nothing("no session or trial tells a speed")


def _speeds(delivery: Received) -> Iterator[tuple[dict[str, Any], str, float, Any]]:
    """Where a speed stands and whose it is, which one it is, the speed in m/s, and the session."""
    for row in sessions_once(delivery):
        if known(row["set_speed_m_per_s"]):
            at = at_session(row, "set_speed_m_per_s")
            told = {**at, "whose": f"session {row['session_id']}"}
            yield told, "set speed", float(row["set_speed_m_per_s"]), row["session_id"]
    trials = delivery.tables.get("sent_trials")
    for own in trials.to_dict("records") if trials is not None else ():
        for column, which in (("set_speed_m_per_s", "set speed"), ("belt_speed_m_per_s", "belt speed")):
            if known(own[column]) and known(own["trial_id"]):
                trial = own["trial_id"]
                place = f"trial_id {trial}, column {column}"
                at = {"trial_id": trial, "whose": f"trial {trial}", "file": "trials.csv", "place": place}
                yield at, which, float(own[column]), own["session_id"]


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="Trial {trial} leans on the standing trial of session {other}, which is of {whose}; the trial is of {own}.",
    expected="A session of the same runner, on the same day.",
    remedy="{what_to_do}.",
    words=("trial", "other", "whose", "own", "what_to_do"),
)
def standing_session_is_of_the_same_runner(delivery: Received) -> Looked:
    """A running trial leans on a static calibration trial (standing) of its own runner, of the same day.

    Angles are counted from the standing trial, and no two people stand alike. One of another day is noted: markers are
    stuck on anew each day, some millimetres elsewhere, and angles move with them.
    """
    trials = delivery.tables.get("sent_trials")
    owners = {row["session_id"]: row["participant_id"] for row in sessions_once(delivery)}
    days = {row["session_id"]: row["study_day"] for row in sessions_once(delivery)}
    examined, faults = 0, []
    for row in trials.to_dict("records") if trials is not None else ():
        named, session = row["standing_session_id"], row["session_id"]
        if not all(known(one) and known(owners.get(one)) for one in (named, session)):
            continue
        examined += 1
        trial, day, other_day = row["trial_id"], days[session], days[named]
        told = {"trial_id": trial, "trial": trial, "other": named, "file": "trials.csv"}
        told["place"] = f"trial_id {trial}, column standing_session_id"
        if owners[named] != owners[session]:
            what_to_do = (
                "Correct standing_session_id in trials.csv and send the trial's row and file again; empty it if the "
                "session has a standing trial of its own"
            )
            who = {"whose": f"runner {owners[named]}", "own": f"runner {owners[session]}"}
            faults.append({**told, **who, "what_to_do": what_to_do})
        elif known(day) and known(other_day) and day != other_day:
            what_to_do = (
                "If a standing trial was recorded on the same day, name its session or empty standing_session_id; if "
                "none was, leave it: the data are kept, and angles are off by as much as markers were stuck elsewhere"
            )
            who = {"whose": f"study day {int(other_day)}", "own": f"day {int(day)}"}
            faults.append({**told, **who, "what_to_do": what_to_do, "weight": Weight.NOTES})
    return looked(examined, faults) if examined else nothing("no trial names another session's standing trial")


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="Session {session} was on a {surface}, says sessions.csv.",
    expected="A {own}, which is what the profile of site {site} has.",
    remedy="Correct the surface in sessions.csv and send the session's trials again. If the site has got another "
    "surface, it needs a profile of its own in the study file; ask the data manager.",
    words=("session", "surface", "own", "site"),
)
def surface_is_that_of_the_laboratory(delivery: Received, study: Study) -> Looked:
    """The surface of a session is the one the site has.

    On a treadmill the belt's speed is added to all that moves, on a runway it is not.
    """
    site = study.sites.get(delivery.site or "")
    rows = [row for row in sessions_once(delivery) if known(row["surface"])]
    if site is None or not rows or (delivery.inbox_site and delivery.site != delivery.inbox_site):
        return nothing("no surface, or a site that is not known for sure")
    own = site.profile.surface
    faults = [
        {**at_session(row, "surface"), "surface": row["surface"], "own": own, "site": delivery.site}
        for row in rows
        if row["surface"] != own
    ]
    return looked(len(rows), faults)
