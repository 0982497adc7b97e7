"""Whether trials that come again may take the place of accepted ones. What came before is looked up by intake."""

from __future__ import annotations

from checks.delivery.bag import known
from checks.registry import Looked, Subject, Weight, check, looked, nothing
from schemas.received import Received


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="Trial {trial} stands accepted from {before} and is sent again with other content ({parts}), and "
    "no reason is given.",
    expected="A few words in column resend_reason of trials.csv that say why an accepted trial is changed.",
    remedy="Say in resend_reason what was changed and why, for example a corrected label or mass, and send the trial "
    "again; or leave the trial out of the next delivery. Until then the accepted version stays in force.",
    words=("trial", "before", "parts"),
)
def changed_trials_say_why(delivery: Received) -> Looked:
    """A trial that was accepted before and is sent again with other content says why.

    A result that changes after it was seen must be explained, or nobody can tell a correction from a choice. A trial
    that is sent again unchanged, or that had gone back, needs no reason.
    """
    trials = delivery.tables.get("sent_trials")
    if trials is None or not delivery.known_trials:
        return nothing("no trial came before")
    rows = trials.dropna(subset=["trial_id"]).drop_duplicates("trial_id")
    again = rows[rows["trial_id"].isin(list(delivery.known_trials))]
    reasons = dict(zip(again["trial_id"], again["resend_reason"], strict=True))
    faults = [
        {
            "trial_id": one.trial_id,
            "trial": one.trial_id,
            "before": one.accepted_with,
            "parts": ", ".join(one.parts),
            "file": "trials.csv",
            "place": f"trial_id {one.trial_id}, column resend_reason",
        }
        for one in delivery.changed_trials
        if one.trial_id in reasons and not known(_text(reasons[one.trial_id]))
    ]
    return looked(len(again), faults) if len(again) else nothing("no trial came before")


def _text(cell: object) -> object:
    return cell.strip(" -./?") if isinstance(cell, str) else cell
