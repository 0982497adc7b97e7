"""Small helps for asking a database: many values in one question, and answers in the order of deliveries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from pipelines.depot.books.rows import Record

_AT_ONCE = 5_000  # a database takes only so many values in one question
_FAR = 10**9


def in_portions(values: Iterable[str]) -> Iterator[Sequence[str]]:
    """``values`` without doubles, as many at once as one question can hold."""
    every = sorted(set(values))
    for start in range(0, len(every), _AT_ONCE):
        yield every[start : start + _AT_ONCE]


def in_order(found: Iterable[Record]) -> list[Record]:
    """Records in order of site and number."""
    return sorted(found, key=lambda r: (r.site or "", r.number or _FAR, r.delivery_id))
