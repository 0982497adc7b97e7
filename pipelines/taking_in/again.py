"""Deliveries are judged again together: all in ``work/`` first, looked at as a whole, then published or not at all.

Whatever the depot holds is judged again here and nowhere else, whoever asks for it and why: a run, a withdrawal or its
end, a decision, a repair. For judging lets all count that has changed since, a profile that somebody drew up in a hurry
as well as a consent that ended. So what a waiting change of code or settings would move into or out of the pool is
known here before any of it counts, and is published only if it is little, or if somebody said yes.

What comes of one delivery counts for the next at once, as if it were published: the books are asked inside one
transaction that is rolled back in the end, and tables are read from ``work/`` where there are newer ones.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, replace
from itertools import zip_longest
from pathlib import Path

from pipelines.depot import overrides
from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk, Opened, Tell
from pipelines.depot.published import read_result
from pipelines.depot.storage import Depot
from pipelines.depot.store import Store
from pipelines.errors import Unusable
from pipelines.judging.standings import ACCEPTED, RETURNED, WITHHELD
from pipelines.taking_in.ahead import Ahead
from pipelines.taking_in.due import Due, in_turn, stale
from pipelines.taking_in.gating import gate
from pipelines.taking_in.publishing import Prepared, note_result
from pipelines.taking_in.stages import open_again, prepare
from schemas.judging_again import JudgingAgain
from schemas.quality import OVERRIDES
from schemas.received import plain_rows

#: Round the work on one delivery: its name in, whom to tell (done, of) out.
Told = Callable[[str], AbstractContextManager[Tell]]
GONE = "not taken in"
_MOST_NAMED = 20


@dataclass(frozen=True)
class Flip:
    """A trial that would stand otherwise. decided: as a data manager decided since it was judged."""

    delivery_id: str
    trial_id: str
    before: str
    now: str
    decided: bool = False

    def text(self) -> str:
        """For people."""
        return f"{self.trial_id} of {self.delivery_id}: {self.before} -> {self.now}"


@dataclass(frozen=True)
class Again:
    """What judging deliveries again came to, before it counts. accepted: trials that are accepted in the depot now.

    is_part: other deliveries wait for a change of code or settings as well, so that nobody knows all that it moves.
    """

    due: Sequence[Due]
    prepared: Sequence[Prepared]
    failed: Sequence[tuple[Due, Exception]]
    flips: Sequence[Flip]
    accepted: int
    is_part: bool = False

    def needs_yes(self, settings: JudgingAgain) -> bool:
        """Whether a change of code or settings moves so many trials into or out of the pool that somebody must look.

        Where only a part of what it moves is known one trial is enough. What a person decided is no part of it.
        """
        guarded = {one.record.delivery_id for one in self.due if one.guarded}
        own = (flip for flip in self.flips if flip.delivery_id in guarded and not flip.decided)
        moved = sum(ACCEPTED in (flip.before, flip.now) and flip.now != WITHHELD for flip in own)
        if self.is_part:
            return moved > 0
        return moved > settings.most_trials and moved > settings.most_fraction * max(self.accepted, 1)

    def refusal(self) -> Iterator[str]:
        """Why nothing of it is published, for people."""
        yield "NOT PUBLISHED: judging again would move trials into or out of the pool."
        yield f"{self.accepted} trials are accepted now. Judged again: {len(self.due)} deliveries."
        for why in dict.fromkeys(one.why for one in self.due):
            count = sum(one.why == why for one in self.due)
            yield f"  {why} ({count} {'delivery' if count == 1 else 'deliveries'})"
        yield "What would change"
        yield from (f"  {line}" for line in self.lines())
        if self.is_part:
            yield "Other deliveries wait for the same, so this is not all: manystrides run tells all of it, and asks."

    def lines(self) -> Iterator[str]:
        """What would stand otherwise, for people."""
        kinds = Counter((flip.before, flip.now) for flip in self.flips)
        yield from (f"{count} from {before} to {now}" for (before, now), count in sorted(kinds.items()))
        yield from (f"  {flip.text()}" for flip in self.flips[:_MOST_NAMED])
        if len(self.flips) > _MOST_NAMED:
            yield f"  and {len(self.flips) - _MOST_NAMED} more"


class _RolledBackError(Exception):
    """Ends the transaction in which the books were asked."""


class _Overlay(Depot):
    """The depot as it would be: results in ``work`` stand in place of those published."""

    def __init__(self, depot: Depot, work: Path) -> None:
        super().__init__(depot.root)
        self._below, self._over = depot, work / "deliveries"
        self._books = depot.books
        self.work = work

    def result(self, delivery_id: str) -> Store:
        own = self._over / delivery_id
        return Store.on_disk(own) if own.exists() else self._below.result(delivery_id)

    def put(self, desk: Desk, prepared: Prepared) -> Prepared:
        """Let a prepared result stand for the delivery's."""
        target = self._over / prepared.record.delivery_id
        target.parent.mkdir(parents=True, exist_ok=True)
        prepared.folder.rename(target)
        note_result(replace(desk, depot=self), prepared)
        return replace(prepared, folder=target)


@contextmanager
def judged_again(desk: Desk, due: Sequence[Due], delivery: Told) -> Iterator[Again]:
    """Judge deliveries again, each after those it takes something from; nothing that counts has changed by it.

    What came of it lies in ``work/`` until this ends. delivery: a context round the work on one delivery, which gives
    whom to tell of each trial.
    """
    lenders = desk.books.leaning.lenders()
    for taker, givers in desk.books.told_rows.lenders().items():
        lenders.setdefault(taker, set()).update(givers)
    due = in_turn(due, lenders)
    with desk.depot.working("again") as work:
        over = _Overlay(desk.depot, work)
        before = {one.record.delivery_id: _standings(desk, one.record.delivery_id) for one in due}
        decided = {one.record.delivery_id: _decided_since(desk, one.record) for one in due if one.guarded}
        waiting = {one.record.delivery_id for one in stale(desk)} if any(one.guarded for one in due) else set()
        accepted = desk.books.trials.standings().get(ACCEPTED, 0)
        prepared: dict[str, Prepared] = {}
        failed: list[tuple[Due, Exception]] = []
        with suppress(_RolledBackError), desk.books.transaction():
            for one, result in _results(replace(desk, depot=over), due, delivery):
                if isinstance(result, Prepared):
                    prepared[one.record.delivery_id] = over.put(desk, result)
                else:
                    failed.append((one, result))
            raise _RolledBackError
        flips = [
            replace(flip, decided=(flip.trial_id, flip.now) in decided.get(name, ()))
            for name, result in prepared.items()
            for flip in _flips(name, before[name], result)
        ]
        yield Again(due, tuple(prepared.values()), failed, flips, accepted, bool(waiting - before.keys()))


def _results(desk: Desk, due: Sequence[Due], delivery: Told) -> Iterator[tuple[Due, Prepared | Exception]]:
    ahead = Ahead(desk, keep=True)
    try:
        for one, following in zip_longest(due, due[1:]):
            name = one.record.delivery_id
            try:
                with delivery(name) as tell, ahead.opened(name, _opener(desk, one.record)) as (opened, gated):
                    begin = None if following is None else _beginning(ahead, desk, following.record)
                    yield one, prepare(desk, gate(desk, opened, one.record, gated), tell, begin)
            except Exception as error:  # one delivery's failure keeps no other out
                yield one, error
    finally:
        ahead.drop()


def _beginning(ahead: Ahead, desk: Desk, record: Record) -> Callable[[], None]:
    return lambda: ahead.begin(record.delivery_id, _opener(desk, record), record)


def _opener(desk: Desk, record: Record) -> Callable[[Path], Opened]:
    return lambda work: open_again(desk, record, work)


def _standings(desk: Desk, delivery_id: str) -> dict[str, str]:
    return {trial.trial_id: trial.standing for trial in desk.books.trials.of_delivery(delivery_id)}


def _decided_since(desk: Desk, record: Record) -> set[tuple[str, str]]:
    """Trials of a delivery on which a data manager decided since it was judged, and how they are to stand for it.

    Nothing if the result that tells of the decisions before is not whole.
    """
    now = overrides.in_force(desk, record.site, desk.books.gates.get(record.delivery_id).files)
    if overrides.digest(now) == record.overrides:
        return set()
    in_force = {(one.trial_id, one.check_name, one.decided.utc) for one in now}
    with suppress(Unusable):
        rows = plain_rows(read_result(desk.depot, record.delivery_id, OVERRIDES))
        before = {(str(row["trial_id"]), str(row["check_name"]), str(row["decided_utc"])) for row in rows}
        set_aside = {(trial, ACCEPTED) for trial, *_ in in_force - before}
        return set_aside | {(trial, RETURNED) for trial, *_ in before - in_force}
    return set()


def _flips(delivery_id: str, before: Mapping[str, str], prepared: Prepared) -> Iterator[Flip]:
    now = {trial.trial_id: trial.standing for trial in prepared.result.trials}
    for trial_id, standing in before.items():
        after = now.get(trial_id, GONE)
        if standing != WITHHELD and after != standing:
            yield Flip(delivery_id, trial_id, standing, after)
