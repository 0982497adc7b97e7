"""What a trial is made of, so that one that comes again with other content can be told from the accepted one.

Parts of a trial are kept as digests in the books, of accepted trials only. Whether a change needs a
reason is in ``checks.delivery.resends``; which version counts is decided where the warehouse is built.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pipelines.depot.books.rows import Parts, Record, TrialVersion
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.published import read_result
from pipelines.judging.standings import ACCEPTED
from schemas.consent import Consent
from schemas.joined import trials_and_visits
from schemas.quality import STANDINGS
from schemas.received import Changed, plain_rows

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

#: What a trial is made of; its digests stand in this order.
PARTS = (
    "its file",
    "its second file",
    "its row of trials.csv",
    "its row of sessions.csv",
    "its runner's row of participants.csv",
    "its rows of channels.csv",
)
_TRIAL = ("session_id", "condition", "kind", "trial_order")
#: Count only where they are filled, as of trials that came before there were such columns.
_OF_SOME_TRIALS = ("belt_speed_m_per_s", "standing_session_id")
_SESSION = ("participant_id", "visit", "study_day", "mass_kg", "surface", "set_speed_m_per_s")
_RUNNER = ("sex", "stature_m", "leg_length_m")  # what outcomes are computed with
_ID = "(an id)"


def parts_of(consent: Consent) -> dict[str, Parts]:
    """Trial id -> digests of what was sent of it. Comments, names of files and the reason itself do not count.

    What later deliveries say of session or runner does not count either: it was not sent with the trial.
    """
    received = consent.received
    sent, _ = trials_and_visits(replace(received, told_later=()))
    shas = {f.path: f.sha256 for f in received.files}
    channels: dict[str, list[str]] = {}
    for row in plain_rows(received.tables["sent_channels"]):
        channels.setdefault(str(row["trial_id"]), []).append(_digest(row, row))
    return {
        trial: (
            shas.get(str(row["file"]), "")[:12],
            shas.get(str(row["sidecar"]), "")[:12],
            _digest(row, (*_TRIAL, *(name for name in _OF_SOME_TRIALS if row[name] is not None))),
            *(_digest(row, names) for names in (_SESSION, _RUNNER)),
            _digest({"all": sorted(channels.get(trial, ()))}, ("all",)),
        )
        for trial, row in sent.items()
    }


def _digest(row: Mapping[str, Any], names: Iterable[str]) -> str:
    return hashlib.sha256(repr([(n, str(row[n])) for n in names]).encode()).hexdigest()[:12]


def with_changed_trials(consent: Consent, before: Mapping[str, TrialVersion]) -> Consent:
    """Adds which trials stand accepted from an earlier delivery and come again with other content.

    before: trial -> the newest version that earlier deliveries brought and that is accepted.
    """
    received = consent.received
    own = parts_of(consent) if before else {}
    changed = tuple(
        Changed(trial, before[trial].delivery_id, differing)
        for trial, parts in sorted(own.items())
        if trial in before and (differing := _differing(before[trial].parts, parts))
    )
    return replace(consent, received=replace(received, changed_trials=changed))


def before_of(books: Books, opened: Opened) -> dict[str, TrialVersion]:
    """Trials of a delivery of which earlier deliveries of the site brought an accepted version -> the newest."""
    received = opened.received
    ids = {str(t) for t in received.tables["sent_trials"]["trial_id"].dropna()}
    return books.trials.accepted_before(received.site, received.number, opened.arrival, ids)


def _differing(one: Parts, other: Parts) -> tuple[str, ...]:
    return tuple(name for name, a, b in zip(PARTS, one, other, strict=True) if a != b)


def with_parts(
    trials: Iterable[TrialVersion],
    consent: Consent,
    before: Mapping[str, TrialVersion],
    words: Mapping[str, str],
) -> tuple[TrialVersion, ...]:
    """Trials of a delivery with their parts if they are accepted, what they were compared with, and resends.

    A resend is an accepted trial in the place of another accepted version; the ledger knows it by a random word.
    words: those it was known by when the delivery was judged before.
    """
    parts = parts_of(consent)
    changed = {c.trial_id for c in consent.received.changed_trials}
    found = []
    for trial in trials:
        name, accepted = trial.trial_id, trial.standing == ACCEPTED
        resent = accepted and name in changed
        other = before.get(name)
        found.append(
            replace(
                trial,
                parts=parts.get(name, ()) if accepted else (),
                resend=(words.get(name) or secrets.token_hex(8)) if resent else "",
                before_delivery=other.delivery_id if other else "",
                before_parts=other.parts if other else (),
            )
        )
    return tuple(found)


def told_resends(desk: Desk, record: Record) -> list[dict[str, str]]:
    """What the ledger is told of a delivery's resends: the word each goes by, and the reason without ids."""
    resends = {t.trial_id: t.resend for t in desk.books.trials.of_delivery(record.delivery_id) if t.resend}
    if not resends:
        return []
    rows = read_result(desk.depot, record.delivery_id, STANDINGS)
    reasons = dict(zip(rows["trial_id"], rows["resend_reason"], strict=True))
    gate = desk.books.gates.get(record.delivery_id)
    ids = {*gate.runners, *gate.files}
    return [
        {"resend": word, "why": without_ids(str(reasons[trial]), ids)}
        for trial, word in resends.items()
        if isinstance(reasons.get(trial), str)
    ]


def without_ids(text: str, ids: Iterable[str]) -> str:
    """``text`` with every id in it left out: the ledger can never forget."""
    words = "|".join(map(re.escape, sorted(ids, key=len, reverse=True)))
    return re.sub(rf"(?<![^\W_])(?:{words})(?![^\W_])", _ID, text) if words else text
