"""With what each result was made: for a delivery as a whole and trial by trial, as far as it was noted.

What a stamp is made of is not known here: ``what`` is a short word, ``used`` a text that changes with what was used.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.tables import DELIVERY_STAMPS, STAMP_CONTENTS, TRIAL_STAMPS

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

    def put(self, delivery_id: str, what: str, used: str) -> None:
        """Note one more stamp of a delivery, in place of what it was; in a transaction."""
        connection, c = self._books.writer(), DELIVERY_STAMPS.c
        connection.execute(sa.delete(DELIVERY_STAMPS).where(c.delivery_id == delivery_id, c.what == what))
        connection.execute(sa.insert(DELIVERY_STAMPS), {"delivery_id": delivery_id, "what": what, "used": used})

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

    def content(self, used: str) -> dict[str, str] | None:
        """What a value of a stamp stands for, place by place; None if it was never noted."""
        with self._books.reading() as connection:
            told = connection.scalar(sa.select(STAMP_CONTENTS.c.content).where(STAMP_CONTENTS.c.used == used))
        return dict(json.loads(told)) if told is not None else None

    def note_content(self, contents: Mapping[str, Mapping[str, str]]) -> None:
        """Note what values of stamps stand for, those not noted yet; in a transaction."""
        connection, c = self._books.writer(), STAMP_CONTENTS.c
        there = set(connection.scalars(sa.select(c.used).where(c.used.in_(sorted(contents)))))
        rows = [{"used": u, "content": json.dumps(dict(own))} for u, own in contents.items() if u not in there]
        if rows:
            connection.execute(sa.insert(STAMP_CONTENTS), rows)
