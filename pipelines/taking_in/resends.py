"""What a trial is made of, so that one that comes again with other content can be told from the accepted one.

Parts of a trial are kept as digests in the record of its delivery, of accepted trials only. Whether a change needs a
reason is in ``checks.delivery.resends``; which version counts is decided where the warehouse is built.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from pipelines.depot.arrivals import Record, records
from pipelines.depot.consents import read_gate
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.storage import read_table
from pipelines.judging.trial_jobs import trial_rows
from schemas.agreed import plain_rows
from schemas.received import Changed, Received

#: Digests of a trial's parts, in the order of ``PARTS``.
Parts = tuple[str, ...]
PARTS = (
    "its file",
    "its second file",
    "its row of trials.csv",
    "its row of sessions.csv",
    "its runner's row of participants.csv",
    "its rows of channels.csv",
)
_TRIAL = ("session_id", "condition", "kind", "trial_order")
_SESSION = ("participant_id", "visit", "study_day", "mass_kg", "surface", "set_speed_m_per_s")
_RUNNER = ("sex", "stature_m", "leg_length_m")  # what outcomes are computed with
_ID = "(an id)"


def parts_of(received: Received) -> dict[str, Parts]:
    """Trial id -> digests of what was sent of it. Comments, names of files and the reason itself do not count."""
    shas = {f.path: f.sha256 for f in received.files}
    channels: dict[str, list[str]] = {}
    for row in plain_rows(received.tables["sent_channels"]):
        channels.setdefault(str(row["trial_id"]), []).append(_digest(row, row))
    return {
        trial: (
            shas.get(str(row["file"]), "")[:12],
            shas.get(str(row["sidecar"]), "")[:12],
            *(_digest(row, names) for names in (_TRIAL, _SESSION, _RUNNER)),
            _digest({"all": sorted(channels.get(trial, ()))}, ("all",)),
        )
        for trial, row in trial_rows(received).items()
    }


def _digest(row: Mapping[str, Any], names: Iterable[str]) -> str:
    return hashlib.sha256(repr([(n, str(row[n])) for n in names]).encode()).hexdigest()[:12]


def accepted_before(
    all_records: Iterable[Record], site: str | None, number: int | None, arrival: str
) -> dict[str, tuple[str, Parts]]:
    """Trial id -> (delivery, parts) of the newest accepted version that earlier deliveries of the site brought."""
    found: dict[str, tuple[str, Parts]] = {}
    earlier = (r for r in all_records if r.taken_in and r.site == site and r.arrival != arrival)
    for record in sorted(earlier, key=lambda r: r.number or 0):
        if (record.number or 0) < (number or 0):
            found |= {trial: (record.delivery_id, tuple(parts)) for trial, parts in record.accepted.items()}
    return found


def with_changed_trials(opened: Opened, all_records: Mapping[str, Record]) -> Opened:
    """Adds which trials stand accepted from an earlier delivery and come again with other content."""
    received = opened.received
    before = accepted_before(all_records.values(), received.site, received.number, opened.arrival)
    own = parts_of(received) if before else {}
    changed = tuple(
        Changed(trial, before[trial][0], differing)
        for trial, parts in sorted(own.items())
        if trial in before and (differing := _differing(before[trial][1], parts))
    )
    return replace(opened, received=replace(received, changed_trials=changed))


def _differing(one: Parts, other: Parts) -> tuple[str, ...]:
    return tuple(name for name, a, b in zip(PARTS, one, other, strict=True) if a != b)


def with_resends(
    record: Record,
    received: Received,
    accepted: Iterable[str],
    all_records: Mapping[str, Record],
    before: Record | None,
) -> Record:
    """The record of a judged delivery with its accepted trials' parts, what these were compared with, and resends.

    A resend is an accepted trial in the place of another accepted version; the ledger knows it by a random word.
    """
    parts, kept = parts_of(received), set(accepted)
    compared = accepted_before(all_records.values(), record.site, record.number, record.arrival)
    words = before.resends if before else {}
    return replace(
        record,
        accepted={trial: own for trial, own in sorted(parts.items()) if trial in kept},
        compared=_compared(compared, parts),
        resends={
            c.trial_id: words.get(c.trial_id) or secrets.token_hex(8)
            for c in received.changed_trials
            if c.trial_id in kept
        },
    )


def _compared(before: Mapping[str, tuple[str, Parts]], own: Iterable[str]) -> str:
    facts = sorted((trial, before[trial]) for trial in own if trial in before)
    return hashlib.sha256(repr(facts).encode()).hexdigest() if facts else ""


def earlier_changed(desk: Desk) -> Iterator[Record]:
    """Deliveries to judge again since an earlier one has come, or accepts other trials than it did; the first first."""
    done: set[str] = set()
    while due := [r for r in _earlier_changed(desk) if r.delivery_id not in done]:
        done.add(due[0].delivery_id)
        yield due[0]


def _earlier_changed(desk: Desk) -> Iterator[Record]:
    every = records(desk.depot).values()
    for record in (r for r in every if r.taken_in and r.held and r.made_by(desk.stamp)):
        before = accepted_before(every, record.site, record.number, record.arrival)
        own = read_gate(desk.depot, record.delivery_id).files if before or record.compared else ()
        if _compared(before, own) != record.compared:
            yield record


def told_resends(desk: Desk, record: Record) -> list[dict[str, str]]:
    """What the ledger is told of a delivery's resends: the word each goes by, and the reason without ids."""
    if not record.resends:
        return []
    rows = read_table(desk.depot.delivery_path(record.delivery_id) / "standings.parquet")
    reasons = dict(zip(rows["trial_id"], rows["resend_reason"], strict=True))
    gate = read_gate(desk.depot, record.delivery_id)
    ids = {*gate.runners, *gate.files}
    return [
        {"resend": word, "why": without_ids(str(reasons[trial]), ids)}
        for trial, word in record.resends.items()
        if isinstance(reasons.get(trial), str)
    ]


def without_ids(text: str, ids: Iterable[str]) -> str:
    """``text`` with every id in it left out: the ledger can never forget."""
    words = "|".join(map(re.escape, sorted(ids, key=len, reverse=True)))
    return re.sub(rf"(?<![^\W_])(?:{words})(?![^\W_])", _ID, text) if words else text
