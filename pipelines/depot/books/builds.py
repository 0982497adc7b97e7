"""What warehouse and pages were last built from, and how far the ledger reached then."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.tables import BUILT
from pipelines.depot.ledger import Head

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

ALL = "warehouse and pages"


class Builds:
    """Reads and writes what was last built. what: a short name of it."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def made_from(self, what: str = ALL) -> str | None:
        """The word of what it was last built from; None if it never was."""
        with self._books.reading() as connection:
            return connection.scalar(sa.select(BUILT.c.made_from).where(BUILT.c.what == what))

    def reached(self, what: str = ALL) -> Head | None:
        """How far the ledger reached when it was last built."""
        with self._books.reading() as connection:
            row = connection.execute(sa.select(BUILT.c.sequence, BUILT.c.hash).where(BUILT.c.what == what)).first()
        return Head(*row) if row else None

    def put(self, made_from: str, head: Head | None = None, what: str = ALL) -> None:
        """Note that it is built; in a transaction. head: how far the ledger reached, if not to where it reaches now."""
        connection, head = self._books.writer(), head or self._books.ledger.head()
        connection.execute(sa.delete(BUILT).where(BUILT.c.what == what))
        row = {"what": what, "made_from": made_from, "sequence": head.sequence, "hash": head.hash}
        connection.execute(sa.insert(BUILT), row)
