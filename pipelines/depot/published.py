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

from pipelines.depot import keys
from pipelines.depot.store import Store
from pipelines.errors import Unusable
from schemas.model import Table

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.depot.storage import Depot

REMEDY = "Run manystrides verify --repair, which judges the delivery again from its raw files or takes a copy."


def sha256_of(path: Path) -> str:
    """The checksum of a file that belongs to no store, such as the books. Raises OSError."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def read_result(depot: Depot, delivery_id: str, table: Table) -> pd.DataFrame:
    """One table of a delivery's result. Raises Unusable if its bytes are not those that were published."""
    published = depot.books.files.of(keys.result(delivery_id))
    return proved_table(depot.result(delivery_id), keys.file_of(table), published.get(keys.file_of(table)))


def proved_table(place: Store, name: str, wanted: str | None) -> pd.DataFrame:
    """A Parquet file as a data frame. Raises Unusable unless its bytes have the checksum ``wanted``."""
    import pyarrow.parquet as parquet

    try:
        content = place.read(name)
    except OSError as error:
        raise _lost(place.shown(name), error) from None
    _compare(place.shown(name), wanted, hashlib.sha256(content).hexdigest())
    frame: pd.DataFrame = parquet.read_table(io.BytesIO(content)).to_pandas()
    return frame


class ProvedResults:
    """Results of deliveries for a reader that opens the files itself: each is hashed before it is named, and once.

    published: place -> file -> checksum.
    """

    def __init__(self, depot: Depot, published: Mapping[str, Mapping[str, str]]) -> None:
        self._depot, self._published = depot, published
        self._proved: dict[Store, Path] = {}

    def paths(self, deliveries: Iterable[str], table: Table) -> Iterator[Path]:
        """The table's files, of those deliveries that have one. Raises Unusable if one is not what was published."""
        name = keys.file_of(table)
        for delivery_id in deliveries:
            place, own = self._depot.result(delivery_id), self._published.get(keys.result(delivery_id), {})
            if name not in own and not place.exists(name):
                continue  # a delivery of before the table was there
            file = place.at(name)
            if file not in self._proved:
                prove(place, name, own.get(name))
                self._proved[file] = place.local(name)
            yield self._proved[file]


def prove(place: Store, name: str, wanted: str | None) -> None:
    """Raises Unusable unless the object has this checksum."""
    try:
        seen = place.sha256(name)
    except OSError as error:
        raise _lost(place.shown(name), error) from None
    _compare(place.shown(name), wanted, seen)


def _compare(path: str, wanted: str | None, seen: str) -> None:
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


def _lost(path: str, error: OSError) -> Unusable:
    seen = "The file is missing." if isinstance(error, FileNotFoundError) else f"The file cannot be read: {error}."
    return Unusable(seen, "a file that was published.", REMEDY, file=path)
