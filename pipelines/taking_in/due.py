"""What is due, asked of the books: what came, what was made with something else than today's, what follows from others.

Nothing is done here, and no delivery is opened. What a result is made with is in ``pipelines.judging.stamps``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from pipelines.depot.arrivals import Arrival, Names, is_delivery, look_into
from pipelines.depot.arrivals import in_order as arrivals_in_order
from pipelines.depot.books.asking import in_order
from pipelines.depot.books.rows import REPEAT, Record
from pipelines.depot.consents import changed
from pipelines.depot.desk import Desk
from pipelines.depot.overrides import overrides_changed
from pipelines.errors import Unusable
from pipelines.identity.word_list import names_shown
from pipelines.judging.stamps import made, reason
from pipelines.taking_in.publishing import site_of, used_to_stop, used_today

CONSENTS_CHANGED = "What is known of its runners' consent has changed."
TEXTS_DECIDED = "Somebody decided on a text it holds."
DECIDED = "A data manager decided on a finding."
EARLIER_CHANGED = "An earlier delivery has come, or accepts other trials than before."
STANDING_CAME = "A standing trial it waited for has come."
POSTURE_CHANGED = "The standing trial it leaned on has changed."
REFERENCES_CHANGED = "The muscle references of a session, which another delivery gives, have changed."
ROWS_CHANGED = "What counts of a session or runner (mass, set speed, stature ...), by a later delivery, has changed."
OTHERS_CHANGED = "What deliveries before it brought under the same ids, or of the same recordings, has changed."
ASKED_FOR = "Asked for."
DAMAGED = "Its result was damaged."
NEW = "new"
CHANGED = "It lies in the inbox with other files, sizes or times than before."
NAMED_ANEW = "Its number was needed by a delivery that can be taken in; it is named anew."
ONCE_MORE = "What it is a repeat of is no longer held."
STOPPED_BEFORE = "It was stopped before."
_MOST_TIMES = 3


@dataclass(frozen=True)
class Due:
    """A delivery the depot holds that must be judged again, and why, in a sentence.

    guarded: whether judging it lets a change of code or settings count, whatever else it is due for, so that somebody
    must say yes if trials would stand otherwise; not if it is due only for what a laboratory, a runner or a data
    manager decided.
    """

    record: Record
    why: str
    guarded: bool = True


def stale(desk: Desk) -> list[Due]:
    """Deliveries the depot holds that were made with something else than today's; in order of site and number."""
    deliveries = desk.books.deliveries
    stopped_with = _stopped_with(desk)
    stopped = [record for record, made in deliveries.stopped() if record.held and made != stopped_with(record)]
    found = in_order([*deliveries.not_made_with(desk.made), *stopped])
    return [Due(record, why_stale(desk, record)) for record in found]


def in_turn(due: Sequence[Due], lenders: Mapping[str, Collection[str]]) -> list[Due]:
    """The same deliveries, each after those it takes something from; else in their order.

    lenders: delivery -> deliveries it takes from. Of deliveries that take from each other the first comes first.
    """
    left = {one.record.delivery_id: one for one in due}
    found = []
    while left:
        free = (name for name in left if not any(giver in left for giver in lenders.get(name, ())))
        found.append(left.pop(next(free, next(iter(left)))))
    return found


def why_stale(desk: Desk, record: Record) -> str:
    """What of today's differs from what a delivery was made with."""
    used = desk.books.stamps.of_delivery(record.delivery_id)
    wanted = used_today(desk, record.site) if record.taken_in else used_to_stop(desk, site_of(record))
    told = [] if record.taken_in else [STOPPED_BEFORE]
    for what in wanted:
        if what in used and used[what] != wanted[what].digest:
            told.append(reason(wanted[what], desk.books.stamps.content(used[what]), site_of(record)))
    if told in ([], [STOPPED_BEFORE]):
        told.append("It was made by an older manystrides.")
    return " ".join(told)


def also_stale(desk: Desk, record: Record) -> str:
    """What of today's differs from what a delivery was taken in with; empty if nothing, or if it was not taken in."""
    if not record.taken_in or desk.books.deliveries.is_current(record.delivery_id, desk.made):
        return ""
    return why_stale(desk, record)


def due_for(desk: Desk, record: Record, why: str) -> Due:
    """A delivery that is due for something; told with whatever else makes its result another one."""
    otherwise = also_stale(desk, record)
    return Due(record, f"{why} {otherwise}".rstrip(), guarded=bool(otherwise))


def _stopped_with(desk: Desk) -> Callable[[Record], str]:
    """What a delivery is stopped with today, which is the same for all of one laboratory."""
    of_site = cache(lambda site: made(used_to_stop(desk, site)))
    return lambda record: of_site(site_of(record))


@dataclass(frozen=True)
class Came:
    """What lies in the inbox and is to be opened, and why: it is new, or what was told of it may be told no more."""

    arrival: Arrival
    why: str = NEW


def names_in_inbox(desk: Desk) -> Names:
    """How names of the inbox are told."""
    came = {record.arrival.partition("/")[2] for record in desk.books.deliveries.all()}
    shown = names_shown(desk.study.path, desk.study.study, came)
    return Names(shown, desk.books.withdrawals.word_of_name)


def arrivals_due(desk: Desk, inbox: Path) -> tuple[list[Came], list[str]]:
    """What lies in the inbox and is to be opened, new or again; and names of what is no delivery."""
    arrivals, others = look_into(inbox, names_in_inbox(desk))
    stopped_with = _stopped_with(desk)
    known = desk.books.arrivals.all()
    records = {record.delivery_id: record for record in desk.books.deliveries.all()}
    stopped = {record.delivery_id: made for record, made in desk.books.deliveries.stopped() if not record.held}
    held = {(record.site, record.fingerprint) for record in records.values() if record.held}

    def why(arrival: Arrival) -> str | None:
        before = known.get((arrival.site, arrival.name))
        record = records.get(before.delivery_id) if before else None
        if before is None or record is None:
            return NEW
        if record.delivery_id in stopped and stopped[record.delivery_id] != stopped_with(record):
            return why_stale(desk, record)
        if before.signature != arrival.signature():
            return CHANGED
        is_repeat_of_nothing = record.status == REPEAT and (record.site, record.fingerprint) not in held
        return ONCE_MORE if is_repeat_of_nothing else None

    reasons = {arrival: reason for arrival in arrivals if (reason := why(arrival)) is not None}
    return [Came(arrival, reasons[arrival]) for arrival in arrivals_in_order(reasons)], others


def follow_ups(desk: Desk) -> Iterable[tuple[str, Callable[[], list[Record]]]]:
    """Why deliveries are due since something else has changed, and how to ask which; in the order they are judged."""
    books = desk.books
    return (
        (CONSENTS_CHANGED, lambda: changed(desk)),
        (TEXTS_DECIDED, books.texts.decided_since),
        (DECIDED, lambda: overrides_changed(desk)),
        (EARLIER_CHANGED, lambda: books.trials.compared_with_another(desk.made)),
        (OTHERS_CHANGED, lambda: books.beside.others(desk.made)),
        (ROWS_CHANGED, lambda: books.told_rows.on_other_rows(desk.made)),
        (STANDING_CAME, lambda: books.deliveries.standing_came(desk.made)),
        (POSTURE_CHANGED, lambda: books.leaning.on_other_postures(desk.made)),
        (REFERENCES_CHANGED, lambda: books.leaning.on_other_references(desk.made)),
    )


def any_follow_up(desk: Desk) -> bool:
    """Whether a delivery is due since something else has changed."""
    return any(asked() for _, asked in follow_ups(desk))


@dataclass
class Tried:
    """What was judged again already for one reason. One delivery is judged a few times at most."""

    results: set[tuple[str, str]] = field(default_factory=set)
    times: Counter[str] = field(default_factory=Counter)

    def leaves(self, record: Record) -> bool:
        """Whether a delivery that is due may be judged again."""
        return (record.delivery_id, record.result) not in self.results and self.times[record.delivery_id] < _MOST_TIMES

    def add(self, record: Record) -> None:
        """Note that a delivery is judged again."""
        self.results.add((record.delivery_id, record.result))
        self.times[record.delivery_id] += 1


def until_none(asked: Callable[[], list[Record]], tried: Tried | None = None) -> Iterator[list[Record]]:
    """Deliveries that are due, asked for anew when these are done, until there is none: judging some makes others due.

    One that is due still although nothing came of judging it is left for the next run. tried: before, filled.
    """
    tried = tried if tried is not None else Tried()
    while due := [record for record in asked() if tried.leaves(record)]:
        for record in due:
            tried.add(record)
        yield due


def due_again(desk: Desk) -> Iterator[list[Due]]:
    """Deliveries that must be judged again since something else has changed; whoever asks judges them.

    Asked in turn until none is due for any reason, as what comes of some may be what others wait for.
    """
    tried: dict[str, Tried] = {}
    found = True
    while found:
        found = False
        for why, asked in follow_ups(desk):
            for records in until_none(asked, tried.setdefault(why, Tried())):
                found = True
                yield [due_for(desk, record, why) for record in records]


@dataclass(frozen=True)
class WhatIsDue:
    """All that a run would do, as far as it is known before. Empty: nothing."""

    arrivals: Sequence[Came]
    again: Sequence[Due]

    def __bool__(self) -> bool:
        return bool(self.arrivals or self.again)

    @property
    def keys(self) -> list[str]:
        """``site/name`` of every delivery concerned, once."""
        return list(
            dict.fromkeys([*(one.record.arrival for one in self.again), *(came.arrival.key for came in self.arrivals)])
        )

    @property
    def state(self) -> list[str]:
        """Changes when something else is due, or the same because of something else."""
        came = [f"{one.arrival.key} {one.arrival.signature()} {one.why}" for one in self.arrivals]
        return came + [f"{one.record.result} {one.why}" for one in self.again]


def what_is_due(desk: Desk, inbox: Path) -> WhatIsDue:
    """All that is due now; what follows from it is due later."""
    again = {one.record.delivery_id: one for one in stale(desk)}
    for why, asked in follow_ups(desk):
        for record in asked():
            again.setdefault(record.delivery_id, Due(record, why, guarded=False))
    return WhatIsDue(arrivals_due(desk, inbox)[0], list(again.values()))


def refuse_missing(inbox: Path) -> None:
    """Raises Unusable if there is no inbox."""
    if not inbox.is_dir():
        raise Unusable(
            "There is no such folder.",
            "the inbox: a folder with one folder per site.",
            "Make it, or give its path with --inbox.",
            file=inbox,
        )


def refuse_other_folder(inbox: Path, sites: Callable[[], Collection[str]]) -> None:
    """Raises Unusable for a folder with something in it, but neither a delivery nor a folder of a site.

    sites: of the study; asked only where no delivery is found. An empty folder is an inbox before the first delivery.
    """
    entries = [path for path in inbox.iterdir() if not path.name.startswith(".")]
    if not entries or any(map(_holds_delivery, entries)):
        return
    known = sorted(sites())
    if not any(path.is_dir() and path.name in known for path in entries):
        raise Unusable(
            f"It is no inbox: none of the {len(entries)} files and folders in it is a site's.",
            f"one folder per site: {', '.join(known)}.",
            "Give the path of the inbox with --inbox, or make these folders in it.",
            file=inbox,
        )


def _holds_delivery(folder: Path) -> bool:
    """Whether a folder of the inbox has a delivery in it."""
    return folder.is_dir() and any(map(is_delivery, folder.iterdir()))
