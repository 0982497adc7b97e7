"""The ledger: who did what to which delivery, when and why; append-only, a chain of lines in the depot's books.

Each line carries the hash of the line before it, so that a changed, removed or inserted line is found by ``verify``.
Lines cut off at the end cannot be seen in the chain itself; for that the head of the ledger is kept elsewhere, with the
last build and in every release, and ``verify`` compares.

A line is written in the same transaction as what it tells, so neither is ever there without the other. How lines are
stored is in ``pipelines.depot.books.ledger``.
"""

from __future__ import annotations

import getpass
import hashlib
import json
import os
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pipelines.depot.books.rows import NOTHING_BEFORE

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


@dataclass(frozen=True)
class Head:
    """How far a ledger reaches: number and hash of its last line. (0, zeros) when empty."""

    sequence: int = 0
    hash: str = NOTHING_BEFORE


@dataclass(frozen=True)
class Entry:
    """One line. what: a short word; about: a delivery, a release, a tombstone or "depot"; utc: ISO 8601."""

    sequence: int
    utc: str
    actor: str
    what: str
    about: str
    why: str
    details: dict[str, Any] = field(default_factory=dict)
    previous: str = NOTHING_BEFORE
    hash: str = ""

    def expected_hash(self) -> str:
        """The hash that fits what the line says."""
        content = {name: value for name, value in asdict(self).items() if name != "hash"}
        return hashlib.sha256(canonical(content).encode()).hexdigest()

    def line(self) -> str:
        """The line as one JSON object."""
        return canonical(asdict(self))


@dataclass(frozen=True)
class Wanted:
    """Which lines are asked for; None asks for all. since, until: ISO 8601 in UTC with milliseconds, both included."""

    about: str | None = None
    by: str | None = None
    since: str | None = None
    until: str | None = None


@dataclass(frozen=True)
class Reached:
    """How far the ledger once went, and who says so."""

    head: Head
    told_by: str


@dataclass(frozen=True)
class LedgerProblem:
    """A line that does not fit. ``line`` counts from 1."""

    line: int
    text: str


def whoami() -> str:
    """The operating system's user name; the actor where none is given."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"uid {os.getuid()}"


class Ledger:
    """Appends to the ledger in the name of an actor; only the depot's writer may."""

    def __init__(self, books: Books, actor: str) -> None:
        self._books = books
        self.actor = actor

    def decided(self, what: str, about: str, why: str, **details: Any) -> Head:
        """Append a line about what a person decided: it tells the operating system's user beside the name given."""
        return self.write(what, about, why, account=whoami(), **details)

    def write(self, what: str, about: str, why: str, **details: Any) -> Head:
        """Append one line, in the transaction that is open, else in one of its own."""
        with self._books.transaction():
            head = self._books.ledger.head()
            plain: dict[str, Any] = json.loads(canonical(details))
            now = datetime.now(UTC).isoformat(timespec="milliseconds")
            entry = Entry(head.sequence + 1, now, self.actor, what, about, why, plain, head.hash)
            entry = Entry(**(vars(entry) | {"hash": entry.expected_hash()}))
            self._books.ledger.append(entry)
            return Head(entry.sequence, entry.hash)


def verify(entries: Iterable[Entry], reached: Iterable[Reached] = ()) -> list[LedgerProblem]:
    """Everything that does not fit in the ledger; empty if it is whole. ``reached``: how far it once went."""
    problems: list[LedgerProblem] = []
    before, number = Head(), 0
    once: dict[int, list[Reached]] = {}
    for told in reached:
        once.setdefault(told.head.sequence, []).append(told)
    for number, entry in enumerate(entries, start=1):
        problems += [LedgerProblem(number, text) for text in _faults(entry, before)]
        for told in once.get(entry.sequence, ()):
            if told.head.hash != entry.hash:
                problems.append(LedgerProblem(number, f"the line is not the one that {told.told_by} knew"))
        before = Head(entry.sequence, entry.hash)
    for told in (one for several in once.values() for one in several if one.head.sequence > before.sequence):
        text = f"lines are missing at the end: by {told.told_by} the ledger once reached entry {told.head.sequence}"
        problems.append(LedgerProblem(number + 1, text))
    return problems


def _faults(entry: Entry, before: Head) -> Iterator[str]:
    if entry.expected_hash() != entry.hash:
        yield "the line was changed after it was written: its hash does not fit its content"
    if entry.previous != before.hash:
        yield "the line does not follow the line before it: one was changed, removed or inserted"
    elif entry.sequence != before.sequence + 1:
        yield f"the line has number {entry.sequence}, expected {before.sequence + 1}"


def canonical(value: object) -> str:
    """JSON in the one form that is hashed: keys in order, no spaces."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
