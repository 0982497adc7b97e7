"""What was published is read only after its bytes were found to be those that were published.

The checksums stand in the books (``pipelines.depot.books.files``), written in the transaction by which a result counts.
A Parquet file with one bit turned is often read without complaint and gives other values; so nothing reads one but
through here. All that can be wrong with a depot is looked for in ``pipelines.depot.verify``.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.errors import Unusable
from schemas.model import Table

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.depot.storage import Depot

REMEDY = "Run manystrides verify --repair, which judges the delivery again from its raw files or takes a copy."


def sha256_of(path: Path) -> str:
    """The checksum of a file. Raises OSError."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def hashes(place: Path) -> dict[str, str]:
    """Path below ``place`` -> SHA-256 of every file; of a single file its name."""
    if not place.is_dir():
        return {place.name: sha256_of(place)}
    files = sorted(p for p in place.rglob("*") if p.is_file() and not p.is_symlink())
    return {p.relative_to(place).as_posix(): sha256_of(p) for p in files}


def place_of(delivery_id: str) -> str:
    """The place of a delivery's result."""
    return f"deliveries/{delivery_id}"


def read_result(depot: Depot, delivery_id: str, table: Table) -> pd.DataFrame:
    """One table of a delivery's result. Raises Unusable if its bytes are not those that were published."""
    import pyarrow.parquet as parquet

    name = f"{table.name}.parquet"
    content = proved_bytes(depot.delivery_path(delivery_id) / name, depot.books.files.of(place_of(delivery_id)), name)
    frame: pd.DataFrame = parquet.read_table(io.BytesIO(content)).to_pandas()
    return frame


def proved_bytes(path: Path, published: Mapping[str, str], name: str) -> bytes:
    """A file's bytes. published: name -> checksum. Raises Unusable if they are not what was published."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise _lost(path, error) from None
    _compare(path, published.get(name), hashlib.sha256(content).hexdigest())
    return content


class ProvedResults:
    """Results of deliveries for a reader that opens the files itself: each is hashed before it is named, and once.

    published: place -> file -> checksum.
    """

    def __init__(self, depot: Depot, published: Mapping[str, Mapping[str, str]]) -> None:
        self._depot, self._published = depot, published
        self._proved: set[Path] = set()

    def paths(self, deliveries: Iterable[str], table: Table) -> Iterator[Path]:
        """The table's files, of those deliveries that have one. Raises Unusable if one is not what was published."""
        name = f"{table.name}.parquet"
        for delivery_id in deliveries:
            path, own = self._depot.table_path(delivery_id, table), self._published.get(place_of(delivery_id), {})
            if name not in own and not path.exists():
                continue  # a delivery of before the table was there
            if path not in self._proved:
                prove(path, own.get(name))
                self._proved.add(path)
            yield path


def prove(path: Path, wanted: str | None) -> None:
    """Raises Unusable unless the file has this checksum."""
    try:
        seen = sha256_of(path)
    except OSError as error:
        raise _lost(path, error) from None
    _compare(path, wanted, seen)


def _compare(path: Path, wanted: str | None, seen: str) -> None:
    if wanted is None:
        expected = "a file whose checksum stands in the books."
        raise Unusable("The books have no checksum of this file.", expected, REMEDY, file=path)
    if seen != wanted:
        raise Unusable(
            f"The file is not what was published: its SHA-256 begins {seen[:12]}.",
            f"the bytes that were published, {wanted[:12]}.",
            REMEDY,
            file=path,
        )


def _lost(path: Path, error: OSError) -> Unusable:
    seen = "The file is missing." if isinstance(error, FileNotFoundError) else f"The file cannot be read: {error}."
    return Unusable(seen, "a file that was published.", REMEDY, file=path)
