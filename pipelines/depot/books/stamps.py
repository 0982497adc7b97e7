"""With what each result was made: for a delivery as a whole and trial by trial, as far as it was noted.

What a stamp is made of is not known here: ``what`` is a short word, ``used`` a text that changes with what was used.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.deliveries import in_order
from pipelines.depot.books.rows import Record
from pipelines.depot.books.tables import DELIVERIES, DELIVERY_STAMPS, TRIAL_STAMPS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Stamps:
    """Reads and writes stamps. They go with the result they belong to."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def of_delivery(self, delivery_id: str) -> dict[str, str]:
        """What was used -> its value, for the delivery as a whole."""
        c = DELIVERY_STAMPS.c
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(c.what, c.used).where(c.delivery_id == delivery_id))
            return {str(what): str(used) for what, used in rows}

    def of_trials(self, delivery_id: str) -> dict[str, dict[str, str]]:
        """Trial -> what was used -> its value."""
        c = TRIAL_STAMPS.c
        found: dict[str, dict[str, str]] = {}
        with self._books.reading() as connection:
            for trial, what, used in connection.execute(
                sa.select(c.trial_id, c.what, c.used).where(c.delivery_id == delivery_id)
            ):
                found.setdefault(str(trial), {})[str(what)] = str(used)
        return found

    def put(self, delivery_id: str, stamps: Mapping[str, str]) -> None:
        """Write stamps of a delivery in place of those of the same ``what``; in a transaction."""
        connection, c = self._books.writer(), DELIVERY_STAMPS.c
        connection.execute(sa.delete(DELIVERY_STAMPS).where(c.delivery_id == delivery_id, c.what.in_(sorted(stamps))))
        rows = [{"delivery_id": delivery_id, "what": what, "used": used} for what, used in stamps.items()]
        if rows:
            connection.execute(sa.insert(DELIVERY_STAMPS), rows)

    def made_with_another(self, what: str, wanted: str, site: str | None = None) -> list[Record]:
        """Held deliveries that were made with another value, or of which none was noted. site: only those of one."""
        c = DELIVERIES.c
        same = sa.exists().where(
            DELIVERY_STAMPS.c.delivery_id == c.delivery_id, DELIVERY_STAMPS.c.what == what,
            DELIVERY_STAMPS.c.used == wanted,
        )  # fmt: skip
        of_site = [c.site == site] if site is not None else []
        with self._books.reading() as connection:
            rows = connection.execute(
                sa.select(*[c[name] for name in Record.__dataclass_fields__]).where(c.held, sa.not_(same), *of_site)
            ).mappings()
            return in_order(Record(**row) for row in rows)

    def trials_with_another(self, what: str, wanted: str, site: str | None = None) -> list[tuple[str, str]]:
        """(delivery, trial) of trials that were judged with another value. site: only those of one."""
        c = TRIAL_STAMPS.c
        query = sa.select(c.delivery_id, c.trial_id).where(c.what == what, c.used != wanted)
        if site is not None:
            query = query.join(DELIVERIES, DELIVERIES.c.delivery_id == c.delivery_id).where(DELIVERIES.c.site == site)
        with self._books.reading() as connection:
            return sorted((str(name), str(trial)) for name, trial in connection.execute(query))
