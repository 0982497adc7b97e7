"""Searches everything live in a depot for words, in the bytes and, where a format packs them, in the values.

Not live, and so not searched: bytes kept apart (``closed/``) unless they are asked for, the books, from which nothing
is shown, the inbox, and releases that are superseded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot.storage import Depot
from pipelines.depot.store import Store


def live_keys(depot: Depot, *, closed: bool = False) -> list[str]:
    """The keys of all that is live. closed: and of bytes kept apart."""
    with depot.opened() as books:
        old = [keys.release(entry.name) for entry in books.releases.all() if entry.superseded_utc]
    apart = () if closed else (keys.CLOSED,)
    shut = tuple(f"{folder}/" for folder in (*apart, depot.inbox.name, *old))
    found = (key for key in depot.store.below() if not key.startswith((*shut, "books.", "depot.lock")))
    return [key for key in found if depot.store.is_object(key)]


def files_with(
    depot: Depot, words: Iterable[str], patterns: Iterable[bytes] = (), *, closed: bool = False
) -> tuple[int, list[Path]]:
    """How many files are searched, and those with one of ``words`` (whole, not within another) or ``patterns``.

    closed: whether bytes kept apart are searched, too.
    """
    wanted = [word.encode() for word in words]
    raw = [bytes(pattern) for pattern in patterns]
    live = live_keys(depot, closed=closed)
    found = [
        Path(depot.store.shown(key))
        for key in live
        if any(any(_whole(w, part) for w in wanted) or any(p in part for p in raw) for part in _parts(depot.store, key))
    ]
    return len(live), found


def _whole(word: bytes, part: bytes) -> bool:
    """Whether ``word`` stands in ``part``, not within a longer one. A plain search first: words may be thousands."""
    if word not in part:
        return False
    return re.search(rb"(?<![0-9A-Za-z])" + re.escape(word) + rb"(?![0-9A-Za-z])", part) is not None


def _parts(store: Store, key: str) -> Iterator[bytes]:
    """An object's name, its bytes, and the values inside it."""
    yield key.encode()
    yield store.read(key)
    if key.endswith(".parquet"):
        yield from _values_of_parquet(store.local(key))
    elif key.endswith(".duckdb"):
        yield from _values_of_warehouse(store.local(key))


def _values_of_parquet(path: Path) -> Iterator[bytes]:
    import pyarrow.parquet as parquet

    table = parquet.read_table(path)
    for column in table.columns:
        yield _joined(column.to_pylist())


def _values_of_warehouse(path: Path) -> Iterator[bytes]:
    import duckdb

    with duckdb.connect(str(path), read_only=True) as connection:
        tables = connection.execute("SELECT schema_name, table_name FROM duckdb_tables()").fetchall()
        for schema, name in tables:
            rows = connection.execute(f'SELECT * FROM "{schema}"."{name}"').fetchall()
            yield _joined(value for row in rows for value in row)


def _joined(values: Iterable[object]) -> bytes:
    return "\n".join(str(value) for value in values if value is not None).encode()
