"""After a kill the books are proved before they are opened: no bit of the database or of its log is turned unseen."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.depot import register as registers
from pipelines.depot.books.log_file import damage_of_log, log_of
from pipelines.depot.books.where import FILE
from pipelines.depot.ledger import Ledger
from pipelines.depot.storage import Depot
from pipelines.depot.verify import verify
from pipelines.errors import Unusable

LINES, MORE = 40, 30


def dies_in(depot: Depot, work: Callable[[], None]) -> None:
    """Do some work in a process that ends as if it were killed, with the depot open."""
    child = os.fork()
    if child == 0:
        with depot.writing("killed"):
            work()
            os._exit(0)
    os.waitpid(child, 0)


def tell(depot: Depot, count: int) -> None:
    for number in range(count):
        Ledger(depot.books, "ann").write("told", "depot", f"line {number}")


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A depot whose last command was killed after it had told more to the ledger."""
    place = tmp_path_factory.mktemp("killed")
    depot = Depot(place / "depot")
    with depot.writing("ann"):
        tell(depot, LINES)
    dies_in(depot, lambda: tell(depot, MORE))
    return place


@pytest.fixture
def depot(killed: Path, tmp_path: Path) -> Depot:
    shutil.copytree(killed, tmp_path / "copy")
    return Depot(tmp_path / "copy" / "depot")


def flipped(content: bytes, bit: int) -> bytes:
    changed = bytearray(content)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


@pytest.mark.parametrize("part", ["the database", "its log"])
def test_every_turned_bit_is_found_by_the_next_command_and_by_verify(depot: Depot, part: str) -> None:
    file = depot.root / FILE if part == "the database" else log_of(depot.root / FILE)
    good, draw = file.read_bytes(), random.Random(1)
    kept = {path: path.read_bytes() for path in depot.root.iterdir() if path.is_file()}
    for bit in draw.sample(range(8 * len(good)), 50):
        file.write_bytes(flipped(good, bit))
        with pytest.raises(Unusable, match=r"not what the last command left|log"), depot.writing("ann"):
            pass
        with depot.alone("ann"):
            assert [fault.kind for fault in verify(depot)] == ["books"]
        for path, content in kept.items():
            path.write_bytes(content)


def test_what_counted_before_the_kill_counts_and_a_reader_in_between_changes_nothing(depot: Depot) -> None:
    known = registers.read(depot.register)
    with depot.opened() as books:
        assert books.ledger.head().sequence == LINES + MORE
    with pytest.raises(sqlite3.OperationalError, match="readonly"), depot.opened() as books:
        books.engine.raw_connection().cursor().execute("DELETE FROM deliveries")
    assert registers.read(depot.register) == known
    with depot.writing("ann"):
        assert depot.books.ledger.head().sequence == LINES + MORE
    with depot.alone("ann"):
        assert verify(depot) == []


def test_what_was_being_written_when_it_was_killed_is_no_damage(depot: Depot) -> None:
    log = log_of(depot.root / FILE)
    whole = log.read_bytes()
    for cut in (1, 100, 4096, 4120):
        log.write_bytes(whole + whole[-4120:-cut])  # a frame more, not written to its end
        assert damage_of_log(depot.root / FILE) is None
    log.write_bytes(whole + bytes(24 + 4096))
    assert damage_of_log(depot.root / FILE) is None


def test_killed_while_the_file_itself_changes_the_database_is_looked_through(depot: Depot) -> None:
    known = registers.read(depot.register)
    assert known is not None
    dies_in(depot, lambda: _dies_in_a_checkpoint(depot))
    unknown = registers.read(depot.register)
    assert unknown is not None
    assert (known.books_sha256 != "", unknown.books_sha256) == (True, "")
    file = depot.root / FILE
    good = file.read_bytes()
    page = len(good) // 4096 - 1
    file.write_bytes(good[: page * 4096] + bytes(64) + good[page * 4096 + 64 :])
    for _ in range(2):  # a refusal does not make it known
        with pytest.raises(Unusable, match=r"database is damaged|cannot be read"), depot.writing("ann"):
            pass
    file.write_bytes(good)
    with depot.writing("ann"):
        pass
    proved = registers.read(depot.register)
    assert proved is not None
    assert proved.books_sha256 != ""


def _dies_in_a_checkpoint(depot: Depot) -> None:
    with depot.books.changing_file():
        depot.books.engine.raw_connection().cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        os._exit(0)


def test_a_long_log_is_brought_in_meanwhile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.depot.books.book._LONGEST_LOG", 100_000)
    depot = Depot(tmp_path / "depot")
    with depot.writing("ann"):
        sizes = []
        for _ in range(60):
            tell(depot, 1)
            sizes.append(log_of(depot.root / FILE).stat().st_size)
        known = registers.read(depot.register)
        assert max(sizes) < 200_000
        assert known is not None
        assert known.books_sha256 != ""
    with depot.alone("ann"):
        assert verify(depot) == []
