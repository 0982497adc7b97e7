"""How a prepared result comes to count, and what has to go for it: folder, books and ledger change in one step.

What a result is made of is in ``pipelines.taking_in.stages``.
"""

from __future__ import annotations

import logging
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pipelines import logs
from pipelines.depot import exchange, keys
from pipelines.depot.books.rows import Record, Result
from pipelines.depot.desk import Desk
from pipelines.identity.word_list import names_beside
from pipelines.judging.stamps import TITLE, Used, of_delivery
from pipelines.taking_in.keeping import drop_unheld, shut_bytes, store_files
from pipelines.taking_in.telling import tell_result
from pipelines.versions import judging_sources

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Prepared:
    """The result of a delivery that counts for nothing yet. folder: its tables, in ``work/``; content: its payload."""

    result: Result
    folder: Path
    content: Path | None = None

    @property
    def record(self) -> Record:
        """What will have become of the delivery."""
        return self.result.record


@dataclass(frozen=True)
class Passage:
    """What came of a delivery. changed: was anything done. evicted: a stopped delivery whose number it needed."""

    record: Record
    changed: bool = True
    evicted: Record | None = None


def publish(desk: Desk, prepared: Prepared, why: str) -> Passage:
    """Make a prepared result the delivery's: its bytes are kept first, then folder and books change in one step.

    why: for the ledger, which has its line in the same transaction.
    """
    record, payload = prepared.record, prepared.result.payload
    if prepared.content is not None:
        store_files(desk.depot, record.delivery_id, prepared.content, payload)
    evicted = _evict(desk, record.delivery_id, record.arrival) if record.taken_in else None

    def decide() -> None:
        with desk.books.transaction():
            note_result(desk, prepared)
            tell_result(desk, record, why)

    exchange.publish(desk.depot, prepared.folder, record.delivery_id, decide)
    standings = Counter(trial.standing for trial in prepared.result.trials)
    told = logs.facts(delivery=record.delivery_id, site=record.site, status=record.status, **standings)
    log.info("The result of a delivery counts.", extra=told)
    if record.taken_in:
        if payload.closed:
            shut_bytes(desk.depot)
        drop_unheld(desk.depot, record)
    return Passage(record, evicted=evicted)


def note_result(desk: Desk, prepared: Prepared) -> None:
    """Write a result into the books, its files' checksums, and what its stamps stand for; in a transaction.

    Its files are where the depot has them by now.
    """
    result, delivery_id = prepared.result, prepared.record.delivery_id
    desk.books.deliveries.put(result)
    desk.books.files.put(keys.result(delivery_id), desk.depot.result(delivery_id).hashes())
    if result.record.taken_in:
        desk.books.beside.note(result.record.delivery_id)
        desk.books.beside.originals_came(result.copied_in)
    if result.stamps:
        used = (used_today if result.record.taken_in else used_to_stop)(desk, site_of(result.record)).values()
        desk.books.stamps.note_content({one.digest: one.content for one in used})


def used_today(desk: Desk, site: str | None) -> dict[str, Used]:
    """What a delivery of ``site`` is made with today."""
    return of_delivery(desk.study.study, site, names_beside(desk.study.path), judging_sources())


def used_to_stop(desk: Desk, site: str | None) -> dict[str, Used]:
    """What a delivery of ``site`` that is stopped is stopped with today."""
    return {**used_today(desk, site), TITLE: Used(TITLE, {"": desk.study.study.title})}


def site_of(record: Record) -> str:
    """The laboratory that a delivery says it is of; of one that does not say so, in whose inbox it lay."""
    return record.site or record.arrival.partition("/")[0]


def _evict(desk: Desk, delivery_id: str, arrival: str) -> Record | None:
    """Make the id free if a stopped delivery of another arrival has it; that one is named anew."""
    holder = desk.books.deliveries.get(delivery_id)
    if holder is None or holder.held or holder.arrival == arrival:
        return None
    why = f"{arrival} has its number and can be taken in; it is named anew."
    _withdraw(desk, holder, why)
    return holder


def forget_older(desk: Desk, now: Record) -> None:
    """Remove what the same arrival was before, if it was not taken in then."""
    for record in desk.books.deliveries.of_arrival(now.arrival):
        if not record.held and record.delivery_id != now.delivery_id:
            _withdraw(desk, record, f"{now.arrival} changed and is now {now.delivery_id}.")


def _withdraw(desk: Desk, record: Record, why: str) -> None:
    def decide() -> None:
        with desk.books.transaction():
            desk.books.deliveries.drop(record.delivery_id)
            desk.books.files.drop(keys.result(record.delivery_id))
            desk.ledger.write("withdrawn", record.delivery_id, why, arrival=record.arrival, status=record.status)

    exchange.withdraw(desk.depot, record.delivery_id, decide)
