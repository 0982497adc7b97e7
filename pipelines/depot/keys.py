"""Under which keys a depot keeps what: the places that the books name, and that ``pipelines.depot.store`` finds.

::

    raw/ab/<sha256>          trial files and tables as they came, never changed
    closed/<delivery>/       bytes that consent does not cover, by checksum; nothing is derived from them
    deliveries/<delivery>/   the result of one delivery: bag/ (its tag files), one Parquet file per table
    releases/<release>/      frozen versions
    warehouse.duckdb, pages/
    safety/                  the page of the safety lead, for the owner alone
    outbox/<site>/           letters, parcels and receipts for a laboratory, for the owner alone until they are sent
    work/                    being written; results that others take the place of
"""

from __future__ import annotations

from collections.abc import Iterator

from pipelines.depot.books.rows import Payload
from schemas.model import Table

RAW, CLOSED, DELIVERIES, RELEASES, WORK = "raw", "closed", "deliveries", "releases", "work"
WAREHOUSE, PAGES, SAFETY, OUTBOX = "warehouse.duckdb", "pages", "safety", "outbox"
#: What is made again from the results of deliveries.
BUILT = (WAREHOUSE, PAGES, SAFETY, OUTBOX)
#: Below a result: the bag's own files, and texts that nobody has looked at.
BAG, HELD_TEXTS = "bag", "held_texts.json"


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


def shut_above(key: str) -> tuple[str, ...]:
    """Folders above an object that nobody but the depot's owner may look into: closed bytes, a bag's own files."""
    parts = key.split("/")
    if parts[0] == CLOSED:
        return CLOSED, "/".join(parts[:2])
    return (f"{'/'.join(parts[:2])}/{BAG}",) if parts[0] == DELIVERIES and parts[2:3] == [BAG] else ()


def is_private(key: str) -> bool:
    """Whether only the depot's owner may read an object: those, and texts that wait for a look."""
    return bool(shut_above(key)) or key.endswith(f"/{HELD_TEXTS}")


def file_of(table: Table) -> str:
    """The file of one table, below a result or the tables of a release."""
    return f"{table.name}.parquet"
