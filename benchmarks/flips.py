"""Turns single bits in what a depot stores, and looks whether anybody is told another value for it.

``python -m benchmarks.flips --depot depot --flips 400`` works on a copy. Of each kind of file one is taken: a Parquet
table, a recording, the warehouse (for the books see ``tests/trust/test_damaged_books_after_a_kill.py``). Each flip is
read twice: as a plain reader would, to see what would have been told without a checksum, and as the depot reads it,
which may never tell other values without a word.
"""

from __future__ import annotations

import argparse
import hashlib
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from pipelines.depot.published import prove, read_result
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.pool.query import ask
from schemas.core import TRIALS

SAME, OTHER, REFUSED = "the same", "other values without a word", "refused"
PLAIN, OWN = "a plain reader", "the depot"
QUESTION = "SELECT * FROM trials ORDER BY ALL"
Reading = Callable[[], object]


def turned(path: Path, flips: int, readings: dict[str, Reading]) -> dict[str, Counter[str]]:
    """How each reading answers after each of so many flips, spread over the file; the file is as before afterwards."""
    good = path.read_bytes()
    answers = {name: repr(read()) for name, read in readings.items()}
    told: dict[str, Counter[str]] = {name: Counter() for name in readings}
    for place in range(0, len(good), max(1, len(good) // flips)):
        content = bytearray(good)
        content[place] ^= 1 << (place % 8)
        path.write_bytes(content)
        for name, read in readings.items():
            try:
                told[name][SAME if repr(read()) == answers[name] else OTHER] += 1
            except Exception as error:
                # a plain reader fails in whatever way its library does; the depot's own must say so in words
                if name == OWN and not isinstance(error, Unusable):
                    raise
                told[name][REFUSED] += 1
    path.write_bytes(good)
    return told


def _plain_parquet(path: Path) -> object:
    import pyarrow.parquet as parquet

    return parquet.read_table(path).to_pylist()


def _plain_warehouse(path: Path) -> object:
    import duckdb

    with duckdb.connect(str(path), read_only=True) as connection:
        return connection.execute(QUESTION).fetchall()


def _plain_recording(path: Path) -> object:
    from pipelines.intake.c3d.reading import read_c3d

    recording = read_c3d(path)
    return hashlib.sha256(recording.points.tobytes() + recording.analog.tobytes()).hexdigest(), recording.labels


def _proved(depot: Depot, path: Path) -> object:
    prove(depot.store, path.relative_to(depot.root).as_posix(), path.name)
    return _plain_recording(path)


def _files(depot: Depot, name: str) -> Iterator[tuple[str, Path, dict[str, Reading]]]:
    table, warehouse = depot.result(name).local("trials.parquet"), depot.warehouse
    recording = min(
        (p for p in (depot.root / "raw").rglob("*") if p.is_file() and p.read_bytes()[1:2] == b"P"),
        key=lambda p: p.stat().st_size,
    )
    kept: list[tuple[str, Path, Reading, Reading]] = [
        ("a Parquet table", table, lambda: _plain_parquet(table), lambda: read_result(depot, name, TRIALS).to_dict()),
        ("a recording", recording, lambda: _plain_recording(recording), lambda: _proved(depot, recording)),
        ("the warehouse", warehouse, lambda: _plain_warehouse(warehouse), lambda: ask(warehouse, QUESTION).to_pylist()),
    ]
    for kind, path, plain, own in kept:
        yield kind, path, {PLAIN: plain, OWN: own}


def measure(root: Path, flips: int) -> Iterator[tuple[str, int, dict[str, Counter[str]]]]:
    """Of each kind of file of the depot: its bytes, and how the readings answered."""
    depot = Depot(root)
    with depot.opened() as books:
        name = min(books.deliveries.results())
        for kind, path, readings in _files(depot, name):
            path.chmod(0o640)
            yield kind, path.stat().st_size, turned(path, flips, readings)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--depot", type=Path, required=True)
    parser.add_argument("--flips", type=int, default=400)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(asked.depot, Path(folder) / "depot")
        for kind, size, told in measure(Path(folder) / "depot", asked.flips):
            print(f"{kind} of {size} bytes")
            for reader, answers in told.items():
                print(f"  {reader}: " + ", ".join(f"{answers[a]} times {a}" for a in (OTHER, REFUSED, SAME)))
