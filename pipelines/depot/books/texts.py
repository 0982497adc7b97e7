"""What people decided on texts, and which texts each delivery holds that needed a decision; never the texts themselves.

A text stands here as a hash with the key that only the books have, so that it is known again in any delivery. The text
is in the delivery's own folder for as long as somebody must look at it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.asking import in_order, in_portions
from pipelines.depot.books.rows import ALLOWED, OPEN, REFUSED, TAKEN_IN, Decision, Record
from pipelines.depot.books.tables import DELIVERIES
from pipelines.depot.books.tables_texts import DELIVERY_TEXTS, TEXTS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Texts:
    """Reads and writes decisions on texts."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def word(self, text: str) -> str:
        """A keyed hash of a text, by which it is known again; spaces around it do not count."""
        return self._books.withdrawals.word(f"text {text.strip()}")

    def decided(self, words: Iterable[str]) -> dict[str, str]:
        """Word -> what was decided, of those on which something was."""
        found: dict[str, str] = {}
        with self._books.reading() as connection:
            for portion in in_portions(words):
                query = sa.select(TEXTS.c.word, TEXTS.c.allowed).where(TEXTS.c.word.in_(portion))
                found |= {word: ALLOWED if allowed else REFUSED for word, allowed in connection.execute(query)}
        return found

    def decide(self, word: str, decision: Decision, *, allowed: bool) -> None:
        """Remember a decision in place of an earlier one; in a transaction."""
        connection = self._books.writer()
        connection.execute(sa.delete(TEXTS).where(TEXTS.c.word == word))
        connection.execute(sa.insert(TEXTS), {"word": word, "allowed": allowed, **vars(decision)})

    def of_delivery(self, delivery_id: str) -> dict[str, str]:
        """Word -> what was decided when the delivery was judged."""
        c = DELIVERY_TEXTS.c
        with self._books.reading() as connection:
            return dict(connection.execute(sa.select(c.word, c.decided).where(c.delivery_id == delivery_id)).tuples())

    def put(self, delivery_id: str, decided: Mapping[str, str]) -> None:
        """Write which texts a delivery holds, and what was decided on each; in a transaction."""
        rows = [{"delivery_id": delivery_id, "word": word, "decided": what} for word, what in decided.items()]
        if rows:
            self._books.writer().execute(sa.insert(DELIVERY_TEXTS), rows)

    def holding(self, decided: str) -> list[str]:
        """Ids of deliveries that hold texts on which this was decided when they were judged."""
        c = DELIVERY_TEXTS.c
        with self._books.reading() as connection:
            return sorted(connection.scalars(sa.select(c.delivery_id).where(c.decided == decided).distinct()))

    def decided_since(self) -> list[Record]:
        """Deliveries judged before something was decided on a text they hold."""
        held, texts = DELIVERY_TEXTS.c, TEXTS.c
        now = sa.case((texts.allowed.is_(None), OPEN), (texts.allowed, ALLOWED), else_=REFUSED)
        joined = DELIVERY_TEXTS.outerjoin(TEXTS, held.word == texts.word)
        query = sa.select(held.delivery_id).select_from(joined).where(held.decided != now).distinct()
        with self._books.reading() as connection:
            own = DELIVERIES.c.delivery_id.in_(query)
            rows = connection.execute(sa.select(DELIVERIES).where(own, DELIVERIES.c.status == TAKEN_IN)).mappings()
            return in_order(Record(**row) for row in rows)
