"""Whether the recordings of a session were made, and numbered, in an order that a comparison of footwear can bear."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from checks.delivery.bag import known
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from schemas.received import Received

if TYPE_CHECKING:
    pass

_NO_ORDER = "no trial has a session and a number in its order"


def _by_session(delivery: Received) -> dict[Any, list[dict[str, Any]]]:
    """Trials with a session and an order, by session, in that order."""
    trials = delivery.tables.get("sent_trials")
    if trials is None:
        return {}
    whole = trials.dropna(subset=["trial_id", "session_id", "trial_order"]).sort_values("trial_order", kind="stable")
    found: dict[Any, list[dict[str, Any]]] = {}
    for row in whole.to_dict("records"):
        found.setdefault(row["session_id"], []).append({str(name): value for name, value in row.items()})
    return found


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Trial {trial} is number {number} of session {session}, and so is trial {other}.",
    expected="Each number once in a session.",
    remedy="Correct trial_order from the protocol sheet; it tells what came first when footwear was changed.",
    words=("trial", "number", "session", "other"),
)
def trial_order_is_unique_in_a_session(delivery: Received) -> Looked:
    """No two trials of a session have the same place in its order.

    Order tells fatigue and getting used to a shoe from the shoe.
    """
    faults, examined = [], 0
    for session, rows in _by_session(delivery).items():
        first: dict[int, dict[str, Any]] = {}
        for row in rows:
            examined += 1
            other = first.setdefault(int(row["trial_order"]), row)
            if other is not row:
                trial = row["trial_id"]
                told = {"trial": trial, "number": int(row["trial_order"]), "session": session}
                at = {"file": "trials.csv", "place": f"trial_id {trial}, column trial_order"}
                faults.append({"trial_id": trial, **told, "other": other["trial_id"], **at})
    return looked(examined, faults) if examined else nothing(_NO_ORDER)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="The trials of session {session} are numbered {first} to {last}, without {missing}.",
    expected="All numbers from the first to the last.",
    remedy="If a trial was forgotten, add its row and file and send it with the next delivery. If it was not recorded "
    "well or is left out on purpose, leave the numbers as they are.",
    words=("session", "first", "last", "missing"),
)
def trial_order_has_no_hole(delivery: Received) -> Looked:
    """The trials of a session that is sent for the first time are numbered without a hole.

    A trial that was left behind at the site is only seen by the hole it leaves.
    """
    faults, examined = [], 0
    trials = delivery.tables.get("sent_trials")
    for session, rows in _by_session(delivery).items():
        numbers = {int(row["trial_order"]) for row in rows}
        listed = int((trials["session_id"] == session).sum()) if trials is not None else 0
        resent = any(row["trial_id"] in delivery.known_trials for row in rows)
        if resent or min(numbers) != 1 or len(numbers) != listed:
            continue  # a part of a session, or a number that another check tells of
        examined += 1
        if missing := sorted(set(range(1, max(numbers))) - numbers):
            told = {"first": 1, "last": max(numbers), "missing": ", ".join(map(str, missing[:5]))}
            at = {"file": "trials.csv", "place": f"session_id {session}, column trial_order"}
            faults.append({"session": session, "session_id": session, **told, **at})
    return looked(examined, faults) if examined else nothing("no whole session that is sent for the first time")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Standing trial {trial} is number {number} of its session, after running trial {run} in the same condition, "
    "number {run_number}.",
    expected="The standing trial in a condition before the first running trial in it.",
    remedy="If the order is right, look whether a marker was lost or put back in between; if so, the standing trial "
    "does not hold for the runs before. Else correct trial_order.",
    words=("trial", "number", "run", "run_number"),
)
def standing_trial_comes_before_running(delivery: Received) -> Looked:
    """In each condition of a session the runner stands before running.

    Angles are counted from the standing trial; a marker that came off and was put back in between changes them all.
    """
    faults, examined = [], 0
    for rows in _by_session(delivery).values():
        for condition in dict.fromkeys(row["condition"] for row in rows if known(row["condition"])):
            own = [row for row in rows if row["condition"] == condition]
            stood = next((row for row in own if row["kind"] == "standing"), None)
            run = next((row for row in own if row["kind"] == "running"), None)
            if stood is None or run is None:
                continue
            examined += 1
            if int(run["trial_order"]) < int(stood["trial_order"]):
                trial = stood["trial_id"]
                told = {"trial": trial, "number": int(stood["trial_order"]), "run": run["trial_id"]}
                at = {"file": "trials.csv", "place": f"trial_id {trial}, column trial_order"}
                faults.append({"trial_id": trial, **told, "run_number": int(run["trial_order"]), **at})
    return looked(examined, faults) if examined else nothing("no condition with a standing and a running trial")


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="Session {session} has {most} running trials in '{other}' and {count} in '{condition}'.",
    expected="About as many in each condition: where one has {from_trials:g} or more, the others at least "
    "{share_percent:g} % of them.",
    remedy="If trials were recorded and not sent, send them with the next delivery. If there are no more, leave it; "
    "the mean of this condition is less certain than the others.",
    words=("session", "most", "other", "count", "condition"),
    limits={
        "share_percent": Limit("%", "common practice"),
        "from_trials": Limit("1", "common practice: with fewer, one lost trial is half of them"),
    },
)
def conditions_have_about_as_many_trials(
    delivery: Received, *, share_percent: float = 50.0, from_trials: float = 4
) -> Looked:
    """The conditions run in a session have about as many running trials each.

    A condition with one trial against eight is compared on one trial, however many the other has.
    """
    trials = delivery.tables.get("sent_trials")
    run = trials[trials["kind"] == "running"].dropna(subset=["session_id", "condition"]) if trials is not None else None
    if run is None or not len(run):
        return nothing("no running trial")
    faults = []
    for session, own in run.groupby("session_id", sort=False):
        counts = own["condition"].value_counts().sort_index()
        most = int(counts.max())
        for condition, count in counts.items():
            if most >= from_trials and count < share_percent / 100 * most:
                told = {"session": session, "condition": condition, "count": int(count), "most": most}
                at = {"file": "trials.csv", "place": f"session_id {session}, condition {condition}"}
                faults.append({"session_id": session, **told, "other": counts.idxmax(), **at})
    return looked(len(run), faults)


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="All {runners} runners of the delivery came to the conditions in the same order: {order}.",
    expected="An order that changes from runner to runner; by chance alone this comes about less than once in {once} "
    "times.",
    remedy="Check that trial_order is the order of recording and not that of a list. If all did run in this order, "
    "leave it, and change the order from runner to runner from now on: else the last condition is always run tired.",
    words=("runners", "order", "once"),
    limits={"from_runners": Limit("1", "own limit: even with two conditions chance is then 1 in 64")},
)
def condition_order_changes_from_runner_to_runner(delivery: Received, *, from_runners: float = 7) -> Looked:
    """Not every runner meets the conditions in the same order.

    What comes last is run with tired legs and warm shoes, so that a fixed order cannot be distinguished from the
    footwear."""
    sessions = delivery.tables.get("sent_sessions")
    orders: dict[Any, tuple[Any, ...]] = {}
    owners = dict(zip(sessions["session_id"], sessions["participant_id"], strict=True)) if sessions is not None else {}
    for session, rows in _by_session(delivery).items():
        order = tuple(dict.fromkeys(row["condition"] for row in rows if known(row["condition"])))
        if len(order) > 1 and known(owners.get(session)):
            orders.setdefault(owners[session], order)  # a runner's first session: later ones may be turned on purpose
    if len(orders) < from_runners:
        return nothing(f"fewer than {from_runners:g} runners with two conditions or more")
    order, *others = set(orders.values())
    if others:
        return looked(len(orders))
    once = math.factorial(len(order)) ** (len(orders) - 1)
    told = {"runners": len(orders), "order": ", ".join(order), "once": f"{once:.2g}" if once > 1e6 else f"{once:d}"}
    return looked(len(orders), [{**told, "file": "trials.csv", "place": "column trial_order"}])
