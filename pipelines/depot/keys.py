"""Under which keys a depot keeps what: the places that the books name, and that ``pipelines.depot.store`` finds.

::

    raw/ab/<sha256>          trial files and tables as they came, never changed
    closed/<delivery>/       bytes that consent does not cover, by checksum; nothing is derived from them
    deliveries/<delivery>/   the result of one delivery: bag/ (its tag files), one Parquet file per table
    releases/<release>/      frozen versions
    warehouse.duckdb, pages/
    work/                    being written; results that others take the place of
"""

from __future__ import annotations

from collections.abc import Iterator

from pipelines.depot.books.rows import Payload
from schemas.model import Table

RAW, CLOSED, DELIVERIES, RELEASES, WORK = "raw", "closed", "deliveries", "releases", "work"
WAREHOUSE, PAGES = "warehouse.duckdb", "pages"


def raw(sha256: str) -> str:
    """Where the bytes with this checksum are, or would be."""
    return f"{RAW}/{sha256[:2]}/{sha256}"


def closed(delivery_id: str, sha256: str) -> str:
    """Where bytes of a delivery are that consent does not cover."""
    return f"{CLOSED}/{delivery_id}/{sha256}"


def payload(delivery_id: str, files: Payload) -> Iterator[tuple[str, str, str]]:
    """Path in the bag, key and SHA-256 of every payload file of a delivery."""
    for path, sha256 in files.stored.items():
        yield path, closed(delivery_id, sha256) if path in files.closed else raw(sha256), sha256


def result(delivery_id: str) -> str:
    """The result of a delivery."""
    return f"{DELIVERIES}/{delivery_id}"


def release(name: str) -> str:
    """A frozen version."""
    return f"{RELEASES}/{name}"


def file_of(table: Table) -> str:
    """The file of one table, below a result or the tables of a release."""
    return f"{table.name}.parquet"
