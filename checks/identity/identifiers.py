"""Whether texts tell who was recorded. What is found where is looked up by intake; here is what follows from it.

A text whose row belongs to trials keeps those trials out. One that belongs to no trial, such as a file's name, bag-info
or a column's name, would travel with every trial, so it stops the delivery.
"""

from __future__ import annotations

from typing import Any

from checks.registry import Looked, Subject, Weight, check, looked, nothing
from schemas.consent import Consent
from schemas.consent_lacks import UNLOOKED
from schemas.delivery import SENT_TRIALS
from schemas.reading import Identifying, Reading
from schemas.received import Received

_CLEAN = "Run manystrides check with --scrub at the site: it writes a copy without these texts, the signals unchanged."


@check(
    about=Subject.DELIVERY,
    weight=Weight.STOPS,
    seen="The text here may identify a person: {kind}.",
    expected="Nobody and no day can be recognised from the texts of a delivery; runners go by their study code.",
    remedy=_CLEAN + " Send that copy. If the text is innocent, word it differently.",
    words=("kind",),
)
def texts_identify_nobody(arrived: Received, consent: Consent) -> Looked:
    """No table, name of a file, bag-info field or other text of the delivery tells who was recorded, where or when.

    What has been copied into a pooled data set cannot be called back. A row's text keeps out the trials it belongs to;
    any other text stops the delivery, since it belongs to them all. The text itself is never repeated. A trial whose
    code, or that of its session or runner, holds a word nobody knows waits until a person has looked at it.
    """
    if not arrived.files and not arrived.bag_info and not arrived.identifying:
        return nothing("the delivery could not be opened, which another check reports")
    faults = [_fault(one, arrived) for one in arrived.identifying]
    waiting = (trial for trial, lack in consent.lacks.items() if lack == UNLOOKED)
    faults += [
        {"kind": UNLOOKED, "file": str(SENT_TRIALS.file_name), "trial_id": trial, "weight": Weight.WITHHOLDS}
        for trial in waiting
    ]
    return looked(max(1, len(arrived.files)), faults)


@check(
    about=Subject.READING,
    weight=Weight.WITHHOLDS,
    seen="The text at this place of the file may identify a person: {kind}.",
    expected="Nobody and no day can be recognised from the texts inside a recording.",
    remedy=_CLEAN + " Send the trial again from that copy. Until then the file is kept apart and nothing is computed.",
    words=("kind",),
)
def trial_files_identify_nobody(reading: Reading) -> Looked:
    """No parameter, description, label, event, annotation or unused byte of a trial's files tells who was recorded.

    Recording programs write the runner's name and the hour into every file by themselves. The text is never repeated.
    """
    if reading.problem == "missing":
        return nothing("the file is not in the bag, which trial_files_are_in_the_bag reports")
    return looked(1, [{"kind": i.kind, "file": i.file, "place": i.place} for i in reading.identifying])


def _fault(one: Identifying, delivery: Received) -> dict[str, Any]:
    ids = {name: value for name in ("trial_id", "session_id", "participant_id") if (value := getattr(one, name))}
    touched = _trial_of(ids, delivery)
    fault: dict[str, Any] = {"kind": one.kind, "file": one.file, "place": one.place}
    return {**fault, **touched, "weight": Weight.WITHHOLDS} if touched else fault


def _trial_of(ids: dict[str, str], delivery: Received) -> dict[str, str]:
    """The narrowest of the row's ids that leads to a trial of the delivery; empty if none does."""
    trials, sessions = delivery.tables.get("sent_trials"), delivery.tables.get("sent_sessions")
    if trials is None or sessions is None:
        return {}
    if ids.get("trial_id") in set(trials["trial_id"].dropna()):
        return {"trial_id": ids["trial_id"]}
    with_trials = set(trials["session_id"].dropna())
    if ids.get("session_id") in with_trials:
        return {"session_id": ids["session_id"]}
    own = sessions.loc[sessions["participant_id"] == ids.get("participant_id", ""), "session_id"]
    return {"participant_id": ids["participant_id"]} if set(own.dropna()) & with_trials else {}
