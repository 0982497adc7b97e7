"""What a withdrawal would take away, shown to the person who asks for it before anything is done."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines.depot.books.rows import Record
from pipelines.depot.consents import WHOLE_TRIAL
from pipelines.depot.desk import Desk
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.study.file import load_study
from pipelines.taking_in.due import also_stale
from pipelines.taking_in.opening import open_desk
from schemas.consent_history import spelled
from schemas.privacy import EVERY_SCOPE

SCOPES = ("motion", "force", "muscle", "metabolic", "pooling", EVERY_SCOPE)


@dataclass(frozen=True)
class Preview:
    """What a withdrawal would take away; nothing is changed by asking. near: ids that are known and look alike.

    otherwise: what else makes the deliveries' results other ones when they are judged again for it.
    """

    runner: str
    known: bool
    near: tuple[str, ...]
    deliveries: tuple[str, ...] = ()
    trials: int = 0
    files: int = 0
    tables: int = 0
    releases: tuple[str, ...] = ()
    otherwise: tuple[str, ...] = ()

    def text(self) -> str:
        """For the person who asked."""
        return "\n".join(self._lines())

    def _lines(self) -> Iterator[str]:
        alike = f" Ids that look alike: {', '.join(self.near)}." if self.near else ""
        if not self.known:
            yield f"The depot does not know runner {self.runner}.{alike}"
            yield "The withdrawal would be noted, and the runner withheld when data come."
            return
        yield f"Withdrawing {self.runner} would take out"
        yield f"  deliveries judged again: {', '.join(self.deliveries) or 'none'}"
        yield f"  trials taken out: {self.trials}"
        yield f"  recordings removed for good: {self.files}"
        yield f"  tables written again without the runner's rows: {self.tables}"
        yield f"  releases marked as superseded: {', '.join(self.releases) or 'none'}"
        if self.otherwise:
            yield "Besides, some of these deliveries were judged with something else than today's, and judging them"
            yield "again may move trials of others:"
            yield from (f"  {reason}" for reason in self.otherwise)
        if alike:
            yield f"Is it the right runner?{alike}"


def preview(study_path: Path, depot_root: Path | str, runner: str, scope: str) -> Preview:
    """What withdrawing would take away. Raises Unusable for an unknown scope, or if there is no depot."""
    refuse_scope(scope)
    depot = Depot(depot_root)
    if not depot.exists:
        raise Unusable("There is no depot here.", "a depot.", "Name it with --depot.", file=depot.root)
    with open_desk(depot, load_study(study_path)) as desk:
        books, names = desk.books, known_as(desk, runner)
        near = alike(desk, runner)
        if not names:
            return Preview(runner, known=bool(books.withdrawals.scopes(runner)), near=near)
        whole = scope in WHOLE_TRIAL
        deliveries = held_with(desk, runner)
        files = {sha for name in names for sha in books.gates.files_of_trials(name)} if whole else set()
        trials = {
            trial
            for record in deliveries
            for trial, owner in books.gates.get(record.delivery_id).runner_of.items()
            if spelled(owner) == spelled(runner)
        }
        return Preview(
            runner,
            known=True,
            near=near,
            deliveries=tuple(record.delivery_id for record in deliveries),
            trials=len(trials) if whole else 0,
            files=len(files),
            tables=sum(len(books.gates.get(record.delivery_id).tables) for record in deliveries),
            releases=tuple(entry.name for entry in books.releases.all() if not entry.superseded_utc),
            otherwise=_other_changes(desk, deliveries),
        )


def held_with(desk: Desk, runner: str) -> list[Record]:
    """The held deliveries that name the runner."""
    books = desk.books
    naming = sorted({delivery for name in known_as(desk, runner) for delivery in books.gates.naming(name)})
    return [record for name in naming if (record := books.deliveries.get(name)) is not None and record.held]


def _other_changes(desk: Desk, deliveries: Iterable[Record]) -> tuple[str, ...]:
    """What of today's differs from what the deliveries were taken in with, each sentence once."""
    return tuple(dict.fromkeys(why for record in deliveries if (why := also_stale(desk, record))))


def known_as(desk: Desk, runner: str) -> set[str]:
    """How deliveries spell the runner's id."""
    return desk.books.gates.spellings([runner])


def alike(desk: Desk, runner: str) -> tuple[str, ...]:
    """Known ids that look like this one and are another's."""
    others = {spelled(one): one for one in sorted(desk.books.gates.every_runner()) if spelled(one) != spelled(runner)}
    return tuple(others[one] for one in difflib.get_close_matches(spelled(runner), sorted(others), n=3, cutoff=0.7))


def refuse_scope(scope: str) -> None:
    """Raises Unusable for what is no scope."""
    if scope not in SCOPES:
        raise Unusable(f"There is no scope {scope!r}.", f"one of {', '.join(SCOPES)}.", "Give one with --scope.")
