"""All deliveries of one batch: what is due is judged again, what came is taken in, then what follows from both.

This is the work of one run; who starts it, and what is made of all deliveries together afterwards, is told in
``pipelines.assets``. What happens to one delivery is in ``pipelines.taking_in.stages``.
"""

from __future__ import annotations

import logging
import traceback
from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines import logs
from pipelines.depot.arrivals import Arrival, find_arrivals
from pipelines.depot.books.rows import STOPPED, Record
from pipelines.depot.consents import changed
from pipelines.depot.desk import Desk, Opened
from pipelines.errors import Unusable, disk_full, is_disk_full
from pipelines.progress import Progress
from pipelines.taking_in import withdrawing
from pipelines.taking_in.again import judged_again
from pipelines.taking_in.ahead import Ahead
from pipelines.taking_in.due import (
    ASKED_FOR,
    CHANGED,
    CONSENTS_CHANGED,
    DAMAGED,
    NAMED_ANEW,
    NEW,
    Came,
    Due,
    also_stale,
    arrivals_due,
    due_again,
    due_for,
    names_in_inbox,
    stale,
    until_none,
)
from pipelines.taking_in.noting import remember, stopped_as_it_is
from pipelines.taking_in.publishing import Prepared, publish
from pipelines.taking_in.stages import open_arrival, take_in_opened
from pipelines.taking_in.still_arriving import still_arriving
from pipelines.taking_in.summary import Done, Failure, Summary

if TYPE_CHECKING:
    from pipelines.pool.readied import Readied

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Bench:
    """What a batch is worked off at.

    yes: publish although a change of code or settings moves trials into or out of the pool. rebuild: make warehouse and
    pages anew, whatever is there. damaged: deliveries whose results are to be made anew from the bytes the depot holds.
    keeps_history: Dagster is running, whose history cannot be removed under it. readied: for what the next build of the
    warehouse begins with. settle_s: deliveries that changed less long ago are looked at twice.
    inbox: None after a decision of a person, when only what follows from it is done: what came meanwhile, or was made
    with something else than today's, is left for the next run.
    """

    desk: Desk
    inbox: Path | None
    progress: Progress
    summary: Summary
    yes: bool = False
    rebuild: bool = False
    damaged: Sequence[str] = ()
    keeps_history: bool = False
    readied: Readied | None = None
    settle_s: float = 0.0

    def ready_the_pool(self) -> None:
        """Begin with what building the warehouse takes, whatever comes of the deliveries."""
        if self.readied is not None and not self.rebuild:
            self.readied.begin()


@dataclass(frozen=True)
class Worked:
    """What came of one delivery of the batch. arrival: ``site/name``. record: None if it could not be worked on."""

    arrival: str
    why: str
    record: Record | None = None
    failure: Failure | None = None

    @property
    def is_through(self) -> bool:
        """Whether it came to its end and was not stopped."""
        return self.failure is None and (self.record is None or self.record.status != STOPPED)


class NotPublishedError(Exception):
    """Judging again would move so many trials that nothing of it was published. Its text is for people."""


def work_off(bench: Bench, asked: Sequence[str] | None = None) -> Iterator[Worked]:
    """Do all that is due; yields what came of each delivery once it counts. Raises NotPublishedError before the rest.

    Who withdrew is withheld before anything else, so that nothing that is refused stands in the way of it: but where it
    would let a waiting change count, that is looked at together with all else that the change touches.
    asked: only these arrivals, by ``site/name``, whether they are due or not, and what follows from them.
    """
    desk, behind = bench.desk, list[Due]()
    refused: set[frozenset[str]] = set()
    withdrawing.begin(desk)
    if desk.books.jobs.open():
        for records in until_none(lambda: changed(desk)):
            due = [due_for(desk, record, CONSENTS_CHANGED) for record in records]
            yield from _judged(bench, [one for one in due if not one.guarded])
            behind += [one for one in due if one.guarded]
    held = (desk.books.deliveries.get(name) for name in bench.damaged)
    behind += [due_for(desk, record, DAMAGED) for record in held if record is not None]
    if bench.inbox is not None:
        yield from _judged(bench, _each_once([*behind, *_stale(desk, asked)]))
        yield from _arrivals(bench, bench.inbox, asked)
    else:
        yield from _as_far_as_allowed(bench, behind, refused)
    for due in due_again(desk):
        yield from _as_far_as_allowed(bench, due, refused)


def what_a_change_moves(bench: Bench, records: Sequence[Record]) -> str | None:
    """What a waiting change of code or settings would move if these deliveries were judged again, for people.

    None if nothing waits for them, if nothing moves, or if somebody said yes. Nothing is changed by asking.
    """
    due = [Due(record, why) for record in records if (why := also_stale(bench.desk, record))]
    if bench.yes or not due:
        return None
    with judged_again(bench.desk, due, bench.progress.delivery) as judged:
        needed = judged.needs_yes(bench.desk.study.study.judging_again)
        return "\n".join(judged.refusal()) if needed else None


def _stale(desk: Desk, asked: Sequence[str] | None) -> list[Due]:
    due = stale(desk)
    if asked is None:
        return due
    known = {one.record.delivery_id: one for one in due}
    held = [r for r in desk.books.deliveries.all() if r.held and r.arrival in set(asked)]
    return [known.get(record.delivery_id, Due(record, ASKED_FOR, guarded=False)) for record in held]


def _each_once(due: Sequence[Due]) -> list[Due]:
    """Each delivery for what it is due for first."""
    return list({one.record.delivery_id: one for one in reversed(due)}.values())[::-1]


def _as_far_as_allowed(bench: Bench, due: Sequence[Due], refused: set[frozenset[str]]) -> Iterator[Worked]:
    """Judge again what lets no change of code or settings count, then the rest; if that may not be, it is left due.

    refused: results that were not given up together before, filled; asked for again they are not judged again.
    """
    yield from _judged(bench, [one for one in due if not one.guarded])
    guarded = [one for one in due if one.guarded]
    if (results := frozenset(one.record.result for one in guarded)) in refused:
        return
    try:
        yield from _judged(bench, guarded)
    except NotPublishedError as told:
        refused.add(results)
        bench.summary.left_for_a_yes.append(str(told))


def _judged(bench: Bench, due: Sequence[Due]) -> Iterator[Worked]:
    """Judge again what the depot holds, and publish it. Raises NotPublishedError if that moves what it may not."""
    if not due:
        return
    desk = bench.desk
    bench.ready_the_pool()
    with judged_again(desk, due, bench.progress.delivery) as judged:
        if judged.needs_yes(desk.study.study.judging_again) and not bench.yes:
            raise NotPublishedError("\n".join(judged.refusal()))
        why = {one.record.delivery_id: one.why for one in due}
        for prepared in judged.prepared:
            name = prepared.record.delivery_id
            yield _attempt(
                bench, name, prepared.record.arrival, why[name], partial(_published, desk, prepared, why[name])
            )
        for one, error in judged.failed:
            _end_if_disk_full(error)
            yield _failed(bench, one.record.delivery_id, one.record.arrival, one.why, error)


def _published(desk: Desk, prepared: Prepared, why: str) -> Record:
    return publish(desk, prepared, why).record


def _arrivals(bench: Bench, inbox: Path, asked: Sequence[str] | None) -> Iterator[Worked]:
    desk = bench.desk
    found, bench.summary.not_deliveries = arrivals_due(desk, inbox)
    found = _whole(bench, found)
    queue = deque(found if asked is None else _asked_for(bench, inbox, found, set(asked)))
    ahead = Ahead(desk)
    try:
        while queue:
            came = queue.popleft()
            evicted: list[Record] = []
            begin = _beginning(ahead, desk, queue[0].arrival) if queue else None
            one = _Arriving(bench, ahead, came, begin, evicted)
            yield _attempt(bench, came.arrival.key, came.arrival.key, came.why, one.take_in)
            for record in evicted:  # it lies in the inbox still, and is named anew
                there, _ = find_arrivals(inbox, names_in_inbox(desk))
                queue.extend(Came(a, NAMED_ANEW) for a in there if a.key == record.arrival)
    finally:
        ahead.drop()


def _whole(bench: Bench, found: Sequence[Came]) -> list[Came]:
    """Without what is still being copied into the inbox, which the summary tells."""
    waiting = still_arriving((came.arrival for came in found), bench.settle_s)
    bench.summary.still_arriving = sorted(waiting)
    return [came for came in found if came.arrival.key not in waiting]


def _asked_for(bench: Bench, inbox: Path, due: Sequence[Came], asked: Collection[str]) -> Iterator[Came]:
    """Those of the arrivals that are due, and those that lie in the inbox and of which nothing is held."""
    desk = bench.desk
    not_due = set(asked) - {came.arrival.key for came in due}
    not_due -= {record.arrival for record in desk.books.deliveries.all() if record.held}
    yield from (came for came in due if came.arrival.key in asked)
    if not_due:
        there, _ = find_arrivals(inbox, names_in_inbox(desk))
        yield from (Came(arrival, ASKED_FOR) for arrival in there if arrival.key in not_due)


@dataclass(frozen=True)
class _Arriving:
    """One arrival that is taken in. begin: what to do when its trials are under way; evicted: filled."""

    bench: Bench
    ahead: Ahead
    came: Came
    begin: Callable[[], None] | None
    evicted: list[Record]

    def take_in(self) -> Record | None:
        """The delivery it became; None if it is the delivery it was."""
        desk, arrival, why = self.bench.desk, self.came.arrival, self.came.why
        arrival.refuse_gone()
        signature = arrival.signature()
        if why == CHANGED and (same := stopped_as_it_is(desk, arrival)) is not None:
            remember(desk, arrival, signature, same)
            return None
        with (
            self.bench.progress.delivery(arrival.key) as tell,
            self.ahead.opened(arrival.key, _opener(desk, arrival)) as (opened, gated),
        ):
            passage = take_in_opened(desk, opened, tell, self.begin, gated, None if why == NEW else why)
        remember(desk, arrival, signature, passage.record)
        if passage.evicted is not None:
            self.evicted.append(passage.evicted)
        return passage.record if passage.changed else None


def _beginning(ahead: Ahead, desk: Desk, arrival: Arrival) -> Callable[[], None]:
    return lambda: ahead.begin(arrival.key, _opener(desk, arrival))


def _opener(desk: Desk, arrival: Arrival) -> Callable[[Path], Opened]:
    return lambda work: open_arrival(desk, arrival, work)


def _attempt(bench: Bench, about: str, arrival: str, why: str, work: Callable[[], Record | None]) -> Worked:
    """Keeps one delivery's failure from the others: it is told, written into the ledger, and tried again next time."""
    bench.ready_the_pool()
    try:
        record = work()
    except Exception as error:
        _end_if_disk_full(error)
        return _failed(bench, about, arrival, why, error)
    if record is not None:
        bench.summary.add(Done(record, why))
    return Worked(arrival, why, record)


def _end_if_disk_full(error: Exception) -> None:
    """Raises Unusable if there is no room on the disk: the next delivery would not fare better."""
    if isinstance(error, OSError) and is_disk_full(error):
        raise disk_full(error) from error


def _failed(bench: Bench, about: str, arrival: str, why: str, error: Exception) -> Worked:
    frames = traceback.extract_tb(error.__traceback__)  # places in the code only: words could name a runner
    where = [f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in frames]
    bench.desk.ledger.write("failed", about, type(error).__name__, where=where)
    ours = not isinstance(error, Unusable)
    log.warning("A delivery could not be worked on.", exc_info=error, extra=logs.facts(delivery=about, ours=ours))
    failure = Failure(about, f"{type(error).__name__}: {error}" if ours else str(error), ours)
    bench.summary.failures.append(failure)
    return Worked(arrival, why, failure=failure)
