"""The rows of sessions and runners a delivery is judged with: its own, or those of a later delivery of the laboratory.

The pool shows the newest row of a session, so earlier trials are judged with it, too. What counts of a row is in
``schemas.told_later``; who was judged with what, in ``pipelines.depot.books.told_rows``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

from pipelines.depot.books.rows import RowOf, ToldRow, word_of
from pipelines.depot.desk import Desk, Opened
from pipelines.depot.published import read_result
from schemas import core
from schemas.catalogue import TABLES
from schemas.model import Table
from schemas.received import ToldLater, plain_rows
from schemas.told_later import TAKEN_OVER, values_of

if TYPE_CHECKING:
    import pandas as pd

    from schemas.consent import Consent

#: Delivery table -> the table of a result in which its rows stand.
_PUBLISHED: Mapping[str, Table] = {"sent_sessions": core.SESSIONS, "sent_participants": core.RUNNERS}


def with_later_rows(desk: Desk, opened: Opened) -> Opened:
    """Adds what later deliveries say otherwise of the delivery's sessions and runners."""
    received = opened.received
    if received.site is None or received.number is None:
        return opened
    own = _digests(_rows_of(received.tables))
    told = desk.books.told_rows.later(desk.made, received.site, received.number, own)

    @cache
    def given(delivery_id: str, table: str) -> dict[str, Mapping[str, Any]]:
        frame = read_result(desk.depot, delivery_id, _PUBLISHED[table])
        return {key: row for _, key, row in _rows_of({table: frame})}

    later = []
    for (table, key), changes in sorted(told.items()):
        values: dict[str, Any] = {}
        for delivery_id, _ in changes:
            row = values_of(table, given(delivery_id, table)[key])
            values |= {name: value for name, value in row if value is not None}  # an empty cell tells nothing
        later.append(ToldLater(table, key, word_of(changes), tuple(values.items()), changes[-1][0]))
    return replace(opened, received=replace(received, told_later=tuple(later)))


def told_rows(consent: Consent, tables: Mapping[Table, pd.DataFrame]) -> dict[RowOf, ToldRow]:
    """What a delivery sent, as far as consent goes, what it gives to earlier ones, and what it took from later ones.

    tables: of its result, in which only rows of accepted trials stand.
    """
    covered = {(t, key) for t, key, _ in _rows_of({name: consent.rows(TABLES[name]) for name in TAKEN_OVER})}
    sent = _digests(_rows_of(consent.received.tables))
    given = _digests(_rows_of({name: tables[_PUBLISHED[name]] for name in TAKEN_OVER}))
    taken = {(one.table, one.key): one.word for one in consent.received.told_later}
    return {row: ToldRow(sent[row], given.get(row, ""), taken.get(row, "")) for row in covered}


def _rows_of(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Table, id and row of each session and runner; of an id that stands twice the first row, which counts."""
    for name, (column, counts) in TAKEN_OVER.items():
        rows = tables[name][[column, *counts]] if name in tables else None
        if rows is not None:
            for row in plain_rows(rows.dropna(subset=[column]).drop_duplicates(column)):
                yield name, str(row[column]), row


def _digests(rows: Iterable[tuple[str, str, Mapping[str, Any]]]) -> dict[RowOf, str]:
    """Row -> a digest, equal for rows of which all that counts is equal."""
    return {
        (table, key): hashlib.sha256(repr(values_of(table, row)).encode()).hexdigest()[:16] for table, key, row in rows
    }
