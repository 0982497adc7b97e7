"""A study of many trials out of a small one: its results and books copied under other ids. Nothing is judged.

Footfalls are repeated within their trials, as in a long recording on a treadmill. Runners, trials, sessions and
deliveries of a copy are its own, so that every part that pools has as much to do as with so many real ones. Not copied
are bytes (trial files, and the bags' own files), the ledger, and what was only drawn.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from pipelines.depot import keys
from pipelines.depot.storage import Depot
from schemas.catalogue import TABLES

#: Columns of results and of the books that name a thing of the study's own.
IDS = (
    "delivery_id",
    "before_delivery",
    "trial_id",
    "session_id",
    "participant_id",
    "finding_id",
    "alike",
    "withheld_as",
    "result",
    "fingerprint",
    "row_id",
)
_NUMBERS = ("number", "delivery_number")
_NUMBERS_APART, _FOOTFALLS_APART = 100, 1_000
#: Columns of the books that name bytes.
_FILES = ("sha256", "raw_sha256", "second_sha256")
#: Beside those with a column delivery_id the only table of the books that is copied.
_RUNNERS = "runners_known"


def multiply(base: Path, into: Path, copies: int, repetitions: int) -> None:
    """Fill the folder ``into`` with ``inbox`` and ``depot``, of ``copies`` times the study that is in ``base``."""
    into.mkdir(parents=True)
    depot = into / "depot"
    shutil.copytree(base / "depot", depot, ignore=_only_what_is_known, symlinks=True)
    _copy_inbox(base / "inbox", into / "inbox", copies)
    for delivery in sorted((base / "depot" / "deliveries").iterdir()):
        _copy_results(delivery, depot / "deliveries", copies, repetitions)
    _copy_books(depot, copies)
    _note_beside(depot)


def _only_what_is_known(folder: str, names: list[str]) -> list[str]:
    return (
        [n for n in names if n in ("pages", "warehouse.duckdb", "log", "releases")] if folder.endswith("depot") else []
    )


def named(word: str, copy: int) -> str:
    """An id in one copy; in the first it is what it was. A file's ending stays at the end."""
    stem, ending = (word[:-4], ".zip") if word.endswith(".zip") else (word, "")
    return f"{stem}-c{copy}{ending}" if copy and word else word


def _copy_inbox(inbox: Path, into: Path, copies: int) -> None:
    """Links to the same files, so that sizes and times, by which an arrival is known again, are theirs."""
    for arrival in sorted(path for site in inbox.iterdir() if site.is_dir() for path in site.iterdir()):
        for copy in range(copies):
            place = into / arrival.parent.name / named(arrival.name, copy)
            place.parent.mkdir(parents=True, exist_ok=True)
            if arrival.is_dir():
                shutil.copytree(arrival, place, copy_function=os.link)
            else:
                os.link(arrival, place)


def _copy_results(delivery: Path, deliveries: Path, copies: int, repetitions: int) -> None:
    import pyarrow.parquet as parquet

    for path in sorted(delivery.glob("*.parquet")):
        rows = parquet.read_table(path)
        if "footfall_number" in TABLES[path.stem].key:
            rows = _repeated(rows, repetitions)
        ids = [place for place, name in enumerate(rows.column_names) if name in (*IDS, "subject")]
        words = {place: rows.column(place).combine_chunks().dictionary_encode() for place in ids}
        for copy in range(copies):
            target = deliveries / named(delivery.name, copy) / path.name
            target.parent.mkdir(exist_ok=True)
            target.unlink(missing_ok=True)
            renamed = _renamed(rows, words, copy)
            parquet.write_table(renamed, target, compression="zstd", compression_level=1, store_schema=False)


def _renamed(rows: Any, words: dict[int, Any], copy: int) -> Any:
    import pyarrow as pa
    from pyarrow import compute

    for place, name in enumerate(rows.column_names):
        if place in words:
            told = words[place].dictionary.to_pylist()
            kept = {"delivery"} if name == "subject" else set()
            own = pa.array([w if w in kept else named(w, copy) for w in told], pa.string())
            rows = rows.set_column(place, name, pa.DictionaryArray.from_arrays(words[place].indices, own))
        elif name in _NUMBERS:
            rows = rows.set_column(place, name, compute.add(rows.column(place), _NUMBERS_APART * copy))
    return rows


def _repeated(rows: Any, repetitions: int) -> Any:
    import pyarrow as pa
    from pyarrow import compute

    place = rows.column_names.index("footfall_number")
    number, field = rows.column(place), rows.schema.field(place)
    return pa.concat_tables(
        rows.set_column(place, field, compute.add(number, _FOOTFALLS_APART * n).cast(field.type))
        for n in range(repetitions)
    )


def _copy_books(depot: Path, copies: int) -> None:
    with closing(sqlite3.connect(depot / "books.sqlite")) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        of_deliveries = (
            "SELECT t.name FROM sqlite_master t JOIN pragma_table_info(t.name) c "
            "WHERE t.type = 'table' AND c.name = 'delivery_id'"
        )
        tables = {_RUNNERS, *(str(name) for (name,) in connection.execute(of_deliveries))}
        with connection:
            connection.execute("DELETE FROM built")
            for table in sorted(tables, key=lambda name: name != "deliveries"):  # the others hang on it
                found = connection.execute(f"SELECT * FROM {table}")
                columns = [column[0] for column in found.description]
                asked = ", ".join("?" * len(columns))
                rows = list(_book_rows(table, columns, found.fetchall(), copies))
                connection.executemany(f"INSERT INTO {table} VALUES ({asked})", rows)
            connection.execute("DELETE FROM published")
            connection.executemany("INSERT INTO published (place, path, sha256) VALUES (?, ?, ?)", _published(depot))


def _note_beside(depot: Path) -> None:
    """What a delivery was judged beside is known by a hash over ids, which are others now."""
    with Depot(depot).opened(to_write=True) as books, books.transaction():
        books.writer().exec_driver_sql("DELETE FROM delivery_stamps WHERE what = 'beside'")
        for delivery_id in sorted(books.deliveries.ids()):
            books.beside.note(delivery_id)


def _published(depot: Path) -> Iterator[tuple[str, str, str]]:
    """Place, path and checksum of every file of every result, as if it had been published so."""
    place = Depot(depot)
    for key in map(keys.result, place.delivery_ids()):
        for path, sha256 in place.store.hashes(key).items():
            yield key, path, sha256


def _book_rows(
    table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]], copies: int
) -> Iterator[tuple[Any, ...]]:
    own = {*IDS, *({"name"} if table == "arrivals" else ()), *({"arrival"} if table == "deliveries" else ())}
    numbers = {"number"} if table == "deliveries" else set()
    listed = list(rows)

    def renamed(name: str, value: Any, copy: int) -> Any:
        if name in own and isinstance(value, str):
            return named(value, copy)
        if name == "used" and "/" in value:  # the delivery and the trial that another one is a copy of
            return "/".join(named(word, copy) for word in value.split("/"))
        if name in _FILES and value:  # the same bytes twice would be one recording sent under two names
            return hashlib.sha256(f"{value} in copy {copy}".encode()).hexdigest()
        return value + _NUMBERS_APART * copy if name in numbers and value is not None else value

    for copy in range(1, copies):
        for row in listed:
            yield tuple(renamed(name, value, copy) for name, value in zip(columns, row, strict=True))
