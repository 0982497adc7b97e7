"""Which deliveries tell of one session or runner, and which were judged with other rows than those that count now.

Rows of one laboratory alone are compared. A row counts once a trial is accepted with it; of several that of the highest
number. What a delivery sent, gives, and took from a later one are stamps of it, by table and id.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books.asking import in_order, in_portions
from pipelines.depot.books.deliveries import current
from pipelines.depot.books.rows import ROW_GIVEN, ROW_SENT, ROW_TAKEN, Record
from pipelines.depot.books.tables import DELIVERIES, DELIVERY_STAMPS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

_SENT, _GIVEN = DELIVERY_STAMPS.alias("sent"), DELIVERY_STAMPS.alias("given")
_OWN, _LATER = DELIVERIES.alias("own"), DELIVERIES.alias("later")


class ToldRows:
    """Asks what deliveries say of the same sessions and runners."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def newest(
        self, made: Collection[str], site: str | None, number: int, keys: Iterable[str]
    ) -> dict[str, tuple[str, str]]:
        """Row -> the newest delivery after one of ``site`` with ``number`` that gives it, and its digest.

        keys: of ``rows.row_key``. made: see ``Desk.made``.
        """
        c, found = DELIVERY_STAMPS.c, dict[str, tuple[int, str, str]]()
        with self._books.reading() as connection:
            for portion in in_portions(keys):
                query = (
                    sa.select(c.what, DELIVERIES.c.number, c.delivery_id, c.used)
                    .join(DELIVERIES, DELIVERIES.c.delivery_id == c.delivery_id)
                    .where(c.what.in_([ROW_GIVEN + key for key in portion]), current(made))
                    .where(DELIVERIES.c.site == site, DELIVERIES.c.number > number)
                )
                for what, later, name, used in connection.execute(query):
                    key = str(what).removeprefix(ROW_GIVEN)
                    found[key] = max(found.get(key, (0, "", "")), (int(later), str(name), str(used)))
        return {key: (name, used) for key, (_, name, used) in found.items()}

    def on_other_rows(self, made: Collection[str]) -> list[Record]:
        """Deliveries judged with another row of a session or runner than the one that counts now."""
        c = DELIVERY_STAMPS.c
        taken = sa.select(c.delivery_id, c.what, c.used).join(DELIVERIES, DELIVERIES.c.delivery_id == c.delivery_id)
        taken = taken.where(c.what.startswith(ROW_TAKEN, autoescape=True), current(made), DELIVERIES.c.held)
        pairs = _pairs().where(current(made, _OWN), current(made, _LATER), _OWN.c.held)
        newest: dict[tuple[str, str], tuple[int, str]] = {}
        with self._books.reading() as connection:
            then = {
                (str(d), str(what).removeprefix(ROW_TAKEN)): str(used) for d, what, used in connection.execute(taken)
            }
            for own, what, sent, _, number, given in connection.execute(pairs):
                key = (str(own), str(what).removeprefix(ROW_SENT))
                newest[key] = max(newest.get(key, (0, "")), (int(number), str(given) if given != sent else ""))
        now = {key: given for key, (_, given) in newest.items() if given}
        due = {key[0] for key in {*now, *then} if now.get(key) != then.get(key)}
        return in_order(record for name in due if (record := self._books.deliveries.get(name)) is not None)

    def lenders(self) -> dict[str, set[str]]:
        """Delivery -> later deliveries that tell otherwise of a session or runner of it."""
        found: dict[str, set[str]] = {}
        with self._books.reading() as connection:
            for own, _, _, later, _, _ in connection.execute(_pairs().where(_GIVEN.c.used != _SENT.c.used)):
                found.setdefault(str(own), set()).add(str(later))
        return found


def _pairs() -> sa.Select[Any]:
    """Own delivery, its stamp of a row and what it sent; each later delivery of the site that gives it, and what."""
    same = _GIVEN.c.what == sa.literal(ROW_GIVEN) + sa.func.substr(_SENT.c.what, len(ROW_SENT) + 1)
    return (
        sa.select(_OWN.c.delivery_id, _SENT.c.what, _SENT.c.used, _LATER.c.delivery_id, _LATER.c.number, _GIVEN.c.used)
        .select_from(_SENT)
        .join(_OWN, _OWN.c.delivery_id == _SENT.c.delivery_id)
        .join(_GIVEN, same)
        .join(_LATER, _LATER.c.delivery_id == _GIVEN.c.delivery_id)
        .where(_SENT.c.what.startswith(ROW_SENT, autoescape=True))
        .where(_LATER.c.site == _OWN.c.site, _LATER.c.number > _OWN.c.number)
    )
