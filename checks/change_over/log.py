"""Whether the weekly log of the change-over and the weekly questionnaire can be right as rows of a table.

What may deserve the safety lead's eye is not judged here: outcomes have cautions of their own, which are never
findings about a laboratory. Nothing here is a diagnosis or advice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from checks.delivery.bag import known
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.received import Received

if TYPE_CHECKING:
    import pandas as pd

_NO_LOG = "no week of a runner who agreed to pooling"
_POINTS = (0, 8, 17, 25)
_QUESTIONS = tuple(f"question_{n}_points" for n in (1, 2, 3, 4))


def _rows(delivery: Received, name: str) -> pd.DataFrame | None:
    """Rows of a weekly table whose runner and week are known; None if there are none."""
    rows = delivery.tables.get(name)
    rows = rows.dropna(subset=["participant_id", "week"]) if rows is not None else None
    return rows if rows is not None and len(rows) else None


def _at(file: str, runner: Any, week: Any = None) -> dict[str, Any]:
    """Where a row of a weekly table is. The runner is no key: no trial goes back for a log."""
    place = f"participant_id {runner}" if week is None else f"participant_id {runner}, week {int(week)}"
    return {"runner": runner, "week": week, "file": file, "place": place}


def _weeks(rows: pd.DataFrame) -> dict[Any, list[int]]:
    """Runner -> the weeks there are, sorted."""
    return {runner: sorted({int(w) for w in own["week"]}) for runner, own in rows.groupby("participant_id")}


def _listed(weeks: list[int]) -> str:
    return ("week " if len(weeks) == 1 else "weeks ") + ", ".join(str(week) for week in weeks)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="The log of runner {runner} goes from week {first} to week {last}, without {missing}.",
    expected="A row for every week in between, also for a week without running, with 0 minutes.",
    remedy="If the runner did not run, add rows with 0 minutes; if nothing was reported, leave the week out. A missing "
    "week is not a week without running, and the change into the next week stays unknown.",
    words=("runner", "first", "last", "missing"),
)
def log_has_every_week(delivery: Received) -> Looked:
    """The running log has every week from its first to its last.

    How fast the change-over went is seen from the weeks one after the other, and a hole hides the steepest.
    """
    rows = _rows(delivery, "sent_weeks")
    if rows is None:
        return nothing(_NO_LOG)
    faults = []
    for runner, weeks in _weeks(rows).items():
        if missing := sorted(set(range(weeks[0], weeks[-1])) - set(weeks)):
            told = {"first": weeks[0], "last": weeks[-1], "missing": _listed(missing)}
            faults.append({**_at("weeks.csv", runner), **told})
    return looked(len(rows), faults)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runner {runner} ran {minutes:.0f} min in week {week}.",
    expected="At most {most_min:g} min in a week.",
    remedy="Check the unit and the sum: minutes, not seconds, and each run once. If it is right, leave it.",
    words=("runner", "minutes", "week"),
    limits={"most_min": Limit("min", "common practice: 20 hours a week is more than nearly anybody runs")},
)
def minutes_of_a_week_are_possible(delivery: Received, *, most_min: float = 1200.0) -> Looked:
    """The minutes run in a week are as many as a week of running can have.

    The share of the new footwear, and what the safety lead is shown, come from these minutes.
    """
    rows = _rows(delivery, "sent_weeks")
    if rows is None:
        return nothing(_NO_LOG)
    sums = rows.groupby(["participant_id", "week"], as_index=False)["running_min"].sum()
    faults = [
        {**_at("weeks.csv", row["participant_id"], row["week"]), "minutes": float(row["running_min"])}
        for row in sums[sums["running_min"] > most_min].to_dict("records")
    ]
    return looked(len(sums), faults)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="By the log, runner {runner} runs {minutes:.0f} min in the middle week, and {distance:.0f} km a week by "
    "participants.csv: {pace:.1f} min for a kilometre.",
    expected="{fastest_min:g} to {slowest_min:g} min for a kilometre.",
    remedy="Check the units of both: minutes in weeks.csv, not hours, and kilometres in participants.csv, not miles or "
    "metres. If the runner runs much more or less than before the study, leave both.",
    words=("runner", "minutes", "distance", "pace"),
    limits={
        "fastest_min": Limit("min/km", "common practice: faster than the best, or far less running than before"),
        "slowest_min": Limit("min/km", "common practice: slower than a walk, or far more running than before"),
    },
)
def log_agrees_with_the_usual_distance(
    delivery: Received, *, fastest_min: float = 2.5, slowest_min: float = 15.0
) -> Looked:
    """Weekly minutes and the usual weekly distance give a pace that people run at.

    The two come from different forms; a wrong unit in either shows only against the other.
    """
    rows, people = _rows(delivery, "sent_weeks"), delivery.tables.get("sent_participants")
    if rows is None or people is None:
        return nothing(_NO_LOG)
    usual = dict(zip(people["participant_id"], people["weekly_distance_km_per_wk"], strict=True))
    sums = rows.groupby(["participant_id", "week"])["running_min"].sum().groupby("participant_id").median()
    faults, examined = [], 0
    for runner, minutes in sums.items():
        if not known(usual.get(runner)) or float(usual[runner]) <= 0 or not minutes > 0:
            continue
        examined += 1
        pace = float(minutes) / float(usual[runner])
        if not fastest_min <= pace <= slowest_min:
            told = {"minutes": float(minutes), "distance": float(usual[runner]), "pace": pace}
            faults.append({**_at("weeks.csv", runner), **told})
    return looked(examined, faults) if examined else nothing("no runner with a log and a usual distance")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="In week {week} runner {runner} ran {share:.0f} % in '{condition}', after {before:.0f} % and before "
    "{after:.0f} %; with the two rows exchanged it would be {turned:.0f} %.",
    expected="No single week that jumps by {jump_points:g} percentage points and back, and fits when its two rows are "
    "exchanged.",
    remedy="Check with the runner's own notes whether the minutes of the two kinds of footwear stand in each other's "
    "row. If they are right, leave them.",
    words=("week", "runner", "share", "condition", "before", "after", "turned"),
    limits={"jump_points": Limit("%", "own limit: well above planned steps of about 10 percentage points")},
)
def minutes_of_two_kinds_of_footwear_are_not_exchanged(delivery: Received, *, jump_points: float = 40.0) -> Looked:
    """In no week do the minutes of two kinds of footwear seem to stand in each other's row.

    One such week looks like a sudden change to the new footwear and back, which would be shown to the safety lead.
    """
    rows = _rows(delivery, "sent_weeks")
    if rows is None:
        return nothing(_NO_LOG)
    faults, examined = [], 0
    for runner, own in rows.groupby("participant_id"):
        minutes = own.pivot_table(index="week", columns="condition", values="running_min", aggfunc="sum").astype(float)
        if minutes.shape[1] != 2:
            continue
        shares = (100 * minutes.iloc[:, 0] / minutes.sum(axis=1)).dropna()
        for week in shares.index:
            if not {week - 1, week + 1} <= set(shares.index):
                continue
            examined += 1
            before, share, after = (float(shares[week + step]) for step in (-1, 0, 1))
            middle = (before + after) / 2
            if abs(share - middle) >= jump_points and abs(100 - share - middle) <= jump_points / 3:
                told = {"condition": minutes.columns[0], "share": share, "before": before, "after": after}
                faults.append({**_at("weeks.csv", runner, week), **told, "turned": 100 - share})
    return looked(examined, faults) if examined else nothing("no runner with three weeks of two kinds of footwear")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Runner {runner} has {what} for {missing}.",
    expected="For every week of the change-over both a running log and a questionnaire.",
    remedy="Add the rows that are there on paper and send the table again. What was not answered is left out: no "
    "answers are not good answers.",
    words=("runner", "what", "missing"),
)
def log_and_questionnaire_cover_the_same_weeks(delivery: Received) -> Looked:
    """Every week with a running log has a questionnaire, and the other way round.

    Symptoms without the running before them, or running without the question how it was borne, tell half.
    """
    log, answers = _rows(delivery, "sent_weeks"), _rows(delivery, "sent_symptoms")
    if log is None or answers is None:
        return nothing("the delivery does not bring both the log and the questionnaire")
    ran, asked, faults = _weeks(log), _weeks(answers), []
    for runner in sorted({*ran, *asked}):
        own, told = set(ran.get(runner, ())), set(asked.get(runner, ()))
        for what, file, weeks in (
            ("answers but no running log", "weeks.csv", told - own),
            ("a running log but no answers", "symptoms.csv", own - told),
        ):
            if weeks:
                faults.append({**_at(file, runner), "what": what, "missing": _listed(sorted(weeks))})
    return looked(sum(map(len, ran.values())) + sum(map(len, asked.values())), faults)


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="In week {week} the form of runner {runner} has a number for question {question} that is none of its points"
    "{hint}.",
    expected="0, 8, 17 or 25 points for each question (OSTRC-H2, Clarsen et al. 2020).",
    remedy="Give the points of the chosen answers, not their numbers, as the form of 2020 has them, and send "
    "symptoms.csv again. A week with other points gets no severity score.",
    words=("week", "runner", "question", "hint"),
)
def questionnaire_points_are_those_of_the_form(delivery: Received) -> Looked:
    """Every answer has the points that the questionnaire gives.

    Numbers of answers in place of points, or points of an older form, add up to a score that means something else.
    """
    rows = _rows(delivery, "sent_symptoms")
    if rows is None:
        return nothing("no questionnaire of a runner who agreed to pooling")
    faults, examined = [], 0
    for row in rows.to_dict("records"):
        given = {n: int(row[name]) for n, name in enumerate(_QUESTIONS, 1) if known(row[name])}
        examined += len(given)
        wrong = [(n, points) for n, points in given.items() if points not in _POINTS]
        if wrong:
            question = wrong[0][0]  # the number itself is not told: findings are shown to more people than answers
            hint = "; numbers of the answers, it seems" if all(p in (0, 1, 2, 3) for p in given.values()) else ""
            told = {"question": question, "hint": hint}
            faults.append({**_at("symptoms.csv", row["participant_id"], int(row["week"])), **told})
    return looked(examined, faults) if examined else nothing("no question is answered")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="In week {week} the form of runner {runner} does not fit together: question 1 decides which questions follow, "
    "and others are answered, or not all of them.",
    expected="After 'no problem' in question 1 no points in the others; after a problem an answer to each of them.",
    remedy="Compare with the filled form. Leave empty what was not answered; a form that is not complete gets no "
    "severity score. Answers that tell of a problem also go to the study's safety lead, as the protocol says.",
    words=("week", "runner"),
)
def later_answers_agree_with_the_first(delivery: Received) -> Looked:
    """The answers of a week agree with the first one, which decides whether the others are asked.

    A problem in questions 2 to 4 beside 'no problem' in the first would be scored as none. The finding tells no answer.
    """
    rows = _rows(delivery, "sent_symptoms")
    if rows is None:
        return nothing("no questionnaire of a runner who agreed to pooling")
    faults, examined = [], 0
    for row in rows.to_dict("records"):
        first, *later = (int(row[name]) if known(row[name]) else None for name in _QUESTIONS)
        if first is None:
            continue
        examined += 1
        # which of the two it is is not told: it would tell of a problem to more people than may know of it
        if (first == _POINTS[0] and any(later)) or (first in _POINTS[1:3] and None in later):
            faults.append(_at("symptoms.csv", row["participant_id"], int(row["week"])))
    return looked(examined, faults) if examined else nothing("question 1 is not answered")
