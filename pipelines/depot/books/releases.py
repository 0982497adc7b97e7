"""The releases of the depot, in figures, and which no longer count."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.rows import Entry
from pipelines.depot.books.tables import RELEASES

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Releases:
    """Reads and writes the shelf of releases."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def all(self) -> list[Entry]:
        """All releases, oldest first."""
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(RELEASES).order_by(RELEASES.c.number)).mappings()
            return [Entry(**row) for row in rows]

    def put(self, entry: Entry) -> None:
        """Write a release in place of what it was; in a transaction."""
        connection = self._books.writer()
        connection.execute(sa.delete(RELEASES).where(RELEASES.c.number == entry.number))
        connection.execute(sa.insert(RELEASES), asdict(entry))

    def supersede_all(self, utc: str, why: str) -> list[Entry]:
        """Mark every release that still counts as superseded; returns those marked now. In a transaction."""
        marked = [replace(e, superseded_utc=utc, superseded_why=why) for e in self.all() if not e.superseded_utc]
        for entry in marked:
            self.put(entry)
        return marked
