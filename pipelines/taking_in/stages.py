"""The way of one delivery, stage by stage: receive, name, check, gate, store, judge, publish.

Each stage is a plain function; ``take_in`` walks them for an arrival from the inbox and ``judge_again`` for a delivery
the depot already holds. What is checked is in ``checks``; what becomes of a trial in ``pipelines.judging.standings``;
when a stage is due in ``pipelines.taking_in.run``.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from checks.findings import Report, Status
from checks.registry import Weight
from checks.run import check_delivery
from pipelines.consent.redaction import redact
from pipelines.consent.veil import veil_of
from pipelines.depot import overrides
from pipelines.depot.arrivals import Arrival, slug
from pipelines.depot.books.rows import REPEAT, STOPPED, TAKEN_IN, Payload, Record, Result
from pipelines.depot.consents import Memory, digest, gate_of, note_gate, with_all_consents
from pipelines.depot.desk import Desk, Opened, Tell
from pipelines.depot.storage import write_table
from pipelines.identity.word_list import names_beside
from pipelines.judging.of_delivery import judge_delivery, lay_out
from pipelines.judging.standings import DELIVERY_TABLES, delivery_files, frame, quality_tables, tables_of_delivery
from pipelines.taking_in.beyond_trials import tables_beyond_trials
from pipelines.taking_in.keeping import (
    copy_tag_files,
    drop_unheld,
    rebuild_bag,
    shut_bytes,
    store_files,
)
from pipelines.taking_in.kept_trials import trial_versions
from pipelines.taking_in.naming import (
    name_for_stopped,
    numbered,
    same_content,
    with_earlier_trials,
    with_number_conflict,
)
from pipelines.taking_in.resends import before_of, with_changed_trials, with_parts
from schemas import core
from schemas.consent import Consent
from schemas.convert.to_arrow import empty_frame
from schemas.model import Table

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Passage:
    """What came of a delivery. changed: was anything done. evicted: a stopped delivery whose number it needed."""

    record: Record
    changed: bool = True
    evicted: Record | None = None


def take_in(desk: Desk, arrival: Arrival, tell: Tell) -> Passage:
    """Take in one arrival: its result is in the depot afterwards, whole, and the older one is gone."""
    from pipelines.intake.opening import open_delivery

    with desk.depot.working("receive") as work:
        names = names_beside(desk.study.path)
        received, payload = open_delivery(desk.isolated, arrival.path, arrival.site, work, desk.study.study, names)
        opened = Opened(received, payload, arrival.site, arrival.name)
        if (same := same_content(opened, desk.books)) is not None:
            if same.arrival == opened.arrival:
                return Passage(same, changed=False)
            return Passage(_publish_repeat(desk, opened, same))
        opened = with_number_conflict(opened, desk.books)
        passage = _process(desk, opened, datetime.now(UTC).isoformat(timespec="seconds"), tell)
    _forget_older(desk, passage.record)
    return passage


def judge_again(desk: Desk, record: Record, tell: Tell) -> Passage:
    """Judge a delivery the depot holds with the code and study of today, from the bytes in the depot."""
    from pipelines.intake.opening import open_delivery

    site, _, name = record.arrival.partition("/")
    with desk.depot.working("again") as work:
        bag = rebuild_bag(desk.depot, record, work / "bag")
        memory = Memory(desk.depot)
        if memory.withdrawals:
            redact(bag, memory.scopes)
        names = names_beside(desk.study.path)
        received, payload = open_delivery(desk.isolated, bag, site, work, desk.study.study, names)
        opened = Opened(replace(received, arrived_as=name), payload, site, name)
        return _process(desk, opened, record.received_utc, tell, before=record)


def _process(
    desk: Desk,
    opened: Opened,
    received_utc: str,
    tell: Tell,
    before: Record | None = None,
) -> Passage:
    """Check the delivery; stop it, or gate, store, judge and publish it. before: its record if the depot holds it."""
    opened = with_all_consents(desk, with_earlier_trials(desk.books, opened))
    before_it = before_of(desk.books, opened)
    consent = with_changed_trials(Consent.of(opened.received, desk.study.study), before_it)
    received = consent.received
    delivery_id = numbered(received) or name_for_stopped(opened, desk.books)
    report, consent = check_delivery(desk.study.study, delivery_id, consent, desk.stamp)
    if opened.payload is None or numbered(received) is None or _stops(report):
        stopped_id = before.delivery_id if before else name_for_stopped(opened, desk.books)
        if stopped_id != delivery_id:
            report, consent = check_delivery(desk.study.study, stopped_id, consent, desk.stamp)
        record = _record(desk, opened, stopped_id, STOPPED, received_utc, before)
        # what the depot holds stays, so that the next code can judge it again
        payload = desk.books.deliveries.payload(before.delivery_id) if before is not None else Payload()
        veil = veil_of(stopped_id, consent, named=False)
        tables = delivery_files(stopped_id, received, veil) | quality_tables(
            veil.findings(report.findings), report.runs
        )
        return Passage(_publish(desk, opened, Result(record, payload), tables))
    judged = judge_delivery(lay_out(desk, delivery_id, opened, consent, report), tell)
    payload = store_files(desk.depot, delivery_id, opened, judged.consent, judged.unread)
    evicted = _evict(desk, delivery_id, opened)
    record = _record(desk, opened, delivery_id, TAKEN_IN, received_utc, before)
    record = replace(record, consents=digest(record.result, consent), overrides=overrides.digest(judged.overrides))
    tables = tables_of_delivery(judged) | tables_beyond_trials(desk, judged)
    words = {t.trial_id: t.resend for t in desk.books.trials.of_delivery(delivery_id)} if before else {}
    trials = with_parts(trial_versions(judged, tables), consent, before_it, words)
    note_gate(desk.depot, delivery_id, gate_of(judged.consent, judged.veil.names))
    record = _publish(desk, opened, Result(record, payload, judged.waiting, trials), tables)
    if payload.closed:
        shut_bytes(desk.depot)
    drop_unheld(desk.depot, record)
    return Passage(record, evicted=evicted)


def _stops(report: Report) -> bool:
    """Whether the delivery may not be taken in: a check says so, or one that might have said so crashed."""
    return any(f.weight is Weight.STOPS for f in report.findings) or any(
        r.status is Status.CRASHED for r in report.runs
    )


def _publish_repeat(desk: Desk, opened: Opened, same: Record) -> Record:
    delivery_id = f"{same.delivery_id}.repeat.{slug(opened.name)}"[:64]
    record = _record(desk, opened, delivery_id, REPEAT, datetime.now(UTC).isoformat(timespec="seconds"))
    return _publish(desk, opened, Result(record), {})


def _record(
    desk: Desk, opened: Opened, delivery_id: str, status: str, received_utc: str, before: Record | None = None
) -> Record:
    """The record of a delivery; its fingerprint stays that of the bytes as they first came."""
    received = opened.received
    return Record(
        delivery_id=delivery_id,
        arrival=opened.arrival,
        status=status,
        site=received.site,
        number=received.number,
        fingerprint=before.fingerprint if before else received.fingerprint,
        received_utc=received_utc,
        result=secrets.token_hex(8),
        **vars(desk.stamp),
    )


def _publish(desk: Desk, opened: Opened, result: Result, tables: dict[Table, pd.DataFrame]) -> Record:
    """Write the tables beside the older ones, put them in their place in one step, and the result into the books."""
    record = replace(result.record, held=bool(result.payload.stored))
    work = desk.depot.new_work(record.delivery_id)
    tables = {core.DELIVERIES: frame(core.DELIVERIES, [_delivery_row(opened, record)]), **tables}
    for table in dict.fromkeys((*DELIVERY_TABLES, *tables)):  # every delivery has every table, if only an empty one
        write_table(
            table, tables.get(table, empty_frame(table)), work / f"{table.name}.parquet", sync=False
        )  # publish syncs
    (work / "bag").mkdir()
    if record.held and opened.payload is not None:
        copy_tag_files(opened.payload, work / "bag")

    def decide() -> None:
        with desk.books.transaction():
            desk.books.deliveries.put(result)

    desk.depot.publish(work, record.delivery_id, decide)
    return record


def _delivery_row(opened: Opened, record: Record) -> dict[str, Any]:
    files = opened.received.files
    return {
        "delivery_id": record.delivery_id,
        "site": record.site,
        "delivery_number": record.number,
        "status": record.status,
        "arrived_as": opened.name,
        "fingerprint_sha256": record.fingerprint,
        "received_utc": record.received_utc,
        "payload_count": len(files),
        "payload_bytes": sum(f.bytes for f in files),
        "code_version": record.code_version,
        "study_version": record.study_version,
    }


def _evict(desk: Desk, delivery_id: str, opened: Opened) -> Record | None:
    """Make the id free if a stopped delivery of another arrival has it; that one is named anew."""
    holder = desk.books.deliveries.get(delivery_id)
    if holder is None or holder.held or holder.arrival == opened.arrival:
        return None
    why = f"{opened.arrival} has its number and can be taken in; it is named anew."
    _withdraw(desk, holder)
    desk.ledger.write("withdrawn", delivery_id, why, arrival=holder.arrival, status=holder.status)
    return holder


def _forget_older(desk: Desk, now: Record) -> None:
    """Remove what the same arrival was before, if it was not taken in then."""
    for record in desk.books.deliveries.of_arrival(now.arrival):
        if not record.held and record.delivery_id != now.delivery_id:
            _withdraw(desk, record)
            why = f"{now.arrival} changed and is now {now.delivery_id}."
            desk.ledger.write("withdrawn", record.delivery_id, why, arrival=now.arrival, status=record.status)


def _withdraw(desk: Desk, record: Record) -> None:
    def decide() -> None:
        with desk.books.transaction():
            desk.books.deliveries.drop(record.delivery_id)

    desk.depot.withdraw(record.delivery_id, decide)
