"""Searches everything live in a depot for words, in the bytes and, where a format packs them, in the values.

Not live, and so not searched: bytes kept apart (``closed/``), the books, from which nothing is shown, the inbox, and
releases that are superseded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from pipelines.depot.storage import Depot


def live_files(depot: Depot) -> list[Path]:
    """Every file of the depot that is live."""
    with depot.opened() as books:
        old = [depot.release_path(entry.name) for entry in books.releases.all() if entry.superseded_utc]
    shut = (depot.closed, depot.inbox, *old)
    files = (p for p in depot.root.rglob("*") if p.is_file() and not any(p.is_relative_to(s) for s in shut))
    return sorted(p for p in files if not (p.parent == depot.root and p.name.startswith(("books.", "depot.lock"))))


def files_with(depot: Depot, words: Iterable[str], patterns: Iterable[bytes] = ()) -> tuple[int, list[Path]]:
    """How many live files there are, and those with one of ``words`` (whole, not within another) or ``patterns``."""
    wanted = [word.encode() for word in words]
    raw = [bytes(pattern) for pattern in patterns]
    files = live_files(depot)
    found = [
        path
        for path in files
        if any(any(_whole(w, part) for w in wanted) or any(p in part for p in raw) for part in _parts(path, depot.root))
    ]
    return len(files), found


def _whole(word: bytes, part: bytes) -> bool:
    """Whether ``word`` stands in ``part``, not within a longer one. A plain search first: words may be thousands."""
    if word not in part:
        return False
    return re.search(rb"(?<![0-9A-Za-z])" + re.escape(word) + rb"(?![0-9A-Za-z])", part) is not None


def _parts(path: Path, root: Path) -> Iterator[bytes]:
    """A file's name, its bytes, and the values inside it."""
    yield path.relative_to(root).as_posix().encode()
    yield path.read_bytes()
    if path.suffix == ".parquet":
        yield from _values_of_parquet(path)
    elif path.suffix == ".duckdb":
        yield from _values_of_warehouse(path)


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
