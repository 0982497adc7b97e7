"""Whether the runner's consent covers what was sent. The history of a consent is read in ``consent_history``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from checks.delivery.bag import ids_of, known
from checks.registry import Looked, Subject, Weight, check, looked, nothing
from schemas.consent_history import covered, history
from schemas.received import Received
from schemas.study import Study

if TYPE_CHECKING:
    import pandas as pd


@check(
    about=Subject.DELIVERY,
    weight=Weight.WITHHOLDS,
    seen="Consent is not shown for trial {trial}: {lack}.",
    expected="On the day of the session {scopes} have been given and not withdrawn.",
    remedy="Compare consents.csv with the signed form. If the form was signed by that day, add its row and "
    "send the delivery again; if the runner did not agree or took it back, leave the trial out. Until then "
    "the file is kept apart and nothing is computed from it.",
    words=("trial", "lack", "scopes"),
)
def consent_covers_the_trial(delivery: Received, study: Study) -> Looked:
    """The runner had agreed, by the day of the session, to the recording of what the trial holds and to its pooling.

    Consent belongs to the runner, not to the study; where it cannot be shown, the data are not used.
    """
    trials, consents = delivery.tables.get("sent_trials"), delivery.tables.get("sent_consents")
    sessions = delivery.tables.get("sent_sessions")
    if trials is None or not len(trials) or consents is None or sessions is None:
        return nothing("no trials are listed")
    scopes, consents = _scopes(delivery, study), history(delivery)
    days: dict[Any, list[tuple[Any, Any]]] = {}
    for _, row in sessions.iterrows():
        days.setdefault(row["session_id"], []).append((row["participant_id"], row["study_day"]))
    faults: list[dict[str, Any]] = []
    for _, row in trials.iterrows():
        lack = delivery.shut_trials.get(row["trial_id"]) or _lack(days.get(row["session_id"], []), consents, scopes)
        if lack:
            faults.append(
                {
                    **ids_of(row),
                    "trial": row["trial_id"],
                    "lack": lack,
                    "scopes": ", ".join(scopes[:-1]) + " and " + scopes[-1],
                    "file": "consents.csv",
                    "place": f"trial_id {row['trial_id']}",
                }
            )
    return looked(len(trials), faults)


def _scopes(delivery: Received, study: Study) -> tuple[str, ...]:
    """What must be agreed to: force only at a laboratory that records it, or one that is not known."""
    site = study.sites.get(delivery.site or "")
    return (
        ("motion", "force", "pooling")
        if site is None or site.profile.force_rate_hz or site.profile.plate_types
        else ("motion", "pooling")
    )


def _lack(days: list[tuple[Any, Any]], consents: pd.DataFrame, scopes: tuple[str, ...]) -> str | None:
    """What keeps the consent from being shown; None if it is in force.

    days: runner and study day of each row of the session. Where a session stands twice, consent must cover both.
    """
    if not days:
        return "its session is not in sessions.csv, so that the runner and the day are not known"
    for runner, study_day in days:
        if not known(runner) or not known(study_day):
            return "sessions.csv does not say which runner or which study day"
        missing = [scope for scope in scopes if not covered(consents, runner, int(study_day), [scope])]
        if missing:
            # the withheld runner and the day stay unsaid: findings are shown where withheld trials are not
            return f"not in force on the day of its session: {', '.join(missing)}"
    return None
