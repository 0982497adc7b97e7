"""What is remembered of each name in the inbox."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.rows import Known
from pipelines.depot.books.tables import ARRIVALS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Arrivals:
    """Reads and writes what names in the inbox became."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def known(self, site: str, name: str) -> Known | None:
        """What is remembered of one name; None if nothing."""
        c = ARRIVALS.c
        query = sa.select(c.signature, c.delivery_id).where(c.site == site, c.name == name)
        with self._books.reading() as connection:
            row = connection.execute(query).first()
        return Known(*row) if row else None

    def all(self) -> dict[tuple[str, str], Known]:
        """(site, name) -> what is remembered, of every name."""
        c = ARRIVALS.c
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(c.site, c.name, c.signature, c.delivery_id))
            return {(str(site), str(name)): Known(signature, delivery) for site, name, signature, delivery in rows}

    def put(self, site: str, name: str, known: Known) -> None:
        """Remember what a name became; in a transaction."""
        connection, c = self._books.writer(), ARRIVALS.c
        connection.execute(sa.delete(ARRIVALS).where(c.site == site, c.name == name))
        row = {"site": site, "name": name, "signature": known.signature, "delivery_id": known.delivery_id}
        connection.execute(sa.insert(ARRIVALS), row)
