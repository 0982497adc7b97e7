"""The lines of the ledger as they are stored; their meaning, and the proof of the chain: ``pipelines.depot.ledger``.

The database itself refuses to change or remove a line, or to add one anywhere but at the end (triggers, made with the
table). Whoever may write to the database file can take that guard away, which ``guarded`` and the chain then show.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books import guards
from pipelines.depot.books.tables import LEDGER
from pipelines.depot.ledger import Entry, Head, Wanted, canonical

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

_AT_ONCE = 1_000


class LedgerLines:
    """Appends lines and reads them. The cost of a line does not grow with the ledger: its end is found by its key."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def head(self) -> Head:
        """How far the ledger reaches."""
        query = sa.select(LEDGER.c.sequence, LEDGER.c.hash).order_by(LEDGER.c.sequence.desc()).limit(1)
        with self._books.reading() as connection:
            row = connection.execute(query).first()
        return Head(*row) if row else Head()

    def append(self, entry: Entry) -> None:
        """Add a line at the end; in a transaction."""
        row = {**vars(entry), "details": canonical(entry.details)}
        self._books.writer().execute(sa.insert(LEDGER), row)

    def knows(self, about: str, what: str | None = None) -> bool:
        """Whether there is a line about this. what: only such a line."""
        found = sa.exists().where(LEDGER.c.about == about, *([LEDGER.c.what == what] if what else []))
        with self._books.reading() as connection:
            return connection.scalar(sa.select(found)) is True

    def hash_of(self, sequence: int) -> str | None:
        """The hash of one line; None if there is no such line."""
        with self._books.reading() as connection:
            return connection.scalar(sa.select(LEDGER.c.hash).where(LEDGER.c.sequence == sequence))

    def abouts(self, what: str) -> list[str]:
        """What the lines of one kind are about that are about a tombstone, oldest first."""
        c = LEDGER.c
        tombstones = sa.and_(c.about >= "tombstone-", c.about < "tombstone.")
        with self._books.reading() as connection:
            return list(connection.scalars(sa.select(c.about).where(tombstones, c.what == what).order_by(c.sequence)))

    def entries(self, wanted: Wanted | None = None) -> Iterator[Entry]:
        """Lines from the first on. wanted: only these."""
        conditions, last = _conditions(wanted) if wanted is not None else [], 0
        while True:
            query = sa.select(LEDGER).where(LEDGER.c.sequence > last, *conditions)
            with self._books.reading() as connection:
                rows = connection.execute(query.order_by(LEDGER.c.sequence).limit(_AT_ONCE)).mappings().all()
            for row in rows:
                yield _entry(row)
            if len(rows) < _AT_ONCE:
                return
            last = rows[-1]["sequence"]

    def guarded(self) -> bool:
        """Whether the database still refuses to change lines."""
        dialect = self._books.engine.dialect.name
        query = {
            "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
            "postgresql": "SELECT tgname FROM pg_trigger WHERE tgenabled = 'O'",
        }[dialect]
        with self._books.reading() as connection:
            names = set(connection.scalars(sa.text(query)))
        return set(guards.NAMES[dialect]) <= names


def _entry(row: sa.RowMapping) -> Entry:
    """A line as stored; details that somebody broke are kept as they are, so that the chain shows it."""
    own: dict[str, Any] = {str(name): value for name, value in row.items()}
    try:
        details = json.loads(own["details"])
    except ValueError:
        details = own["details"]
    return Entry(**(own | {"details": details}))


def _conditions(wanted: Wanted) -> list[sa.ColumnElement[bool]]:
    c, found = LEDGER.c, []
    if wanted.about is not None:
        found.append(c.about == wanted.about)
    if wanted.since is not None:
        found.append(c.utc >= wanted.since)
    if wanted.until is not None:
        found.append(c.utc <= wanted.until)
    if wanted.by is not None:
        found.append(c.actor == wanted.by)
    return found
