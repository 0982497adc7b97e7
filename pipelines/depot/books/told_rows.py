"""Which deliveries tell of one session or runner, and which were judged with other rows than those that count now.

Rows of one laboratory alone are compared. A row counts once a trial is accepted with it; of several that of the highest
number, and where a cell of it is empty that of the one before.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books.asking import in_portions
from pipelines.depot.books.deliveries import current
from pipelines.depot.books.rows import Record, RowOf, word_of
from pipelines.depot.books.tables import DELIVERIES
from pipelines.depot.books.told_tables import TOLD_ROWS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

_SENT, _GIVEN = TOLD_ROWS.alias("own_row"), TOLD_ROWS.alias("later_row")
_OWN, _LATER = DELIVERIES.alias("own"), DELIVERIES.alias("later")


class ToldRows:
    """Asks what deliveries say of the same sessions and runners."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def later(
        self, made: Collection[str], site: str | None, number: int, rows: Mapping[RowOf, str]
    ) -> dict[RowOf, list[tuple[str, str]]]:
        """Row -> deliveries after one of ``site`` with ``number`` that give it otherwise than the one before them does.

        In order of their numbers, each with the digest. rows: with the digest of what the delivery itself sent. made:
        see ``Desk.made``.
        """
        c, found = TOLD_ROWS.c, dict[RowOf, list[tuple[int, str, str]]]()
        with self._books.reading() as connection:
            for portion in in_portions(key for _, key in rows):
                query = (
                    sa.select(c.told_table, c.row_id, DELIVERIES.c.number, c.delivery_id, c.given)
                    .join(DELIVERIES, DELIVERIES.c.delivery_id == c.delivery_id)
                    .where(c.row_id.in_(portion), c.given != "", current(made))
                    .where(DELIVERIES.c.site == site, DELIVERIES.c.number > number)
                )
                for table, key, later, name, given in connection.execute(query):
                    found.setdefault((str(table), str(key)), []).append((int(later), str(name), str(given)))
        return {row: told for row, sent in rows.items() if (told := _changes(sent, found.get(row, ())))}

    def on_other_rows(self, made: Collection[str]) -> list[Record]:
        """Deliveries judged with another row of a session or runner than the one that counts now."""
        c = TOLD_ROWS.c
        taken = sa.select(c.delivery_id, c.told_table, c.row_id, c.taken)
        taken = taken.join(DELIVERIES, DELIVERIES.c.delivery_id == c.delivery_id)
        taken = taken.where(c.taken != "", current(made), DELIVERIES.c.held)
        pairs = _pairs().where(current(made, _OWN), current(made, _LATER), _OWN.c.held)
        later: dict[tuple[str, str, str, str], list[tuple[int, str, str]]] = {}
        with self._books.reading() as connection:
            then = {(str(d), str(t), str(key)): str(used) for d, t, key, used in connection.execute(taken)}
            for own, table, key, sent, name, number, given in connection.execute(pairs):
                row = (str(own), str(table), str(key), str(sent))
                later.setdefault(row, []).append((int(number), str(name), str(given)))
        now = {row[:3]: word for row, told in later.items() if (word := word_of(_changes(row[3], told)))}
        due = {row[0] for row in {*now, *then} if now.get(row) != then.get(row)}
        return self._books.deliveries.named(due)

    def lenders(self) -> dict[str, set[str]]:
        """Delivery -> later deliveries that tell otherwise of a session or runner of it."""
        found: dict[str, set[str]] = {}
        with self._books.reading() as connection:
            for own, _, _, _, later, _, _ in connection.execute(_pairs().where(_GIVEN.c.given != _SENT.c.sent)):
                found.setdefault(str(own), set()).add(str(later))
        return found


def _changes(sent: str, told: Iterable[tuple[int, str, str]]) -> list[tuple[str, str]]:
    found = []
    for _, name, given in sorted(told):
        if given != sent:
            found.append((name, given))
        sent = given
    return found


def _pairs() -> sa.Select[Any]:
    """Own delivery, its row and what it sent; each later delivery of the site that gives the row, and what it gives."""
    row = (_SENT.c.told_table, _SENT.c.row_id)
    same = sa.and_(_GIVEN.c.row_id == _SENT.c.row_id, _GIVEN.c.told_table == _SENT.c.told_table, _GIVEN.c.given != "")
    return (
        sa.select(_OWN.c.delivery_id, *row, _SENT.c.sent, _LATER.c.delivery_id, _LATER.c.number, _GIVEN.c.given)
        .select_from(_SENT)
        .join(_OWN, _OWN.c.delivery_id == _SENT.c.delivery_id)
        .join(_GIVEN, same)
        .join(_LATER, _LATER.c.delivery_id == _GIVEN.c.delivery_id)
        .where(_SENT.c.sent != "")
        .where(_LATER.c.site == _OWN.c.site, _LATER.c.number > _OWN.c.number)
    )
