"""Whether books are opened: new ones, those of another form, damaged, lost or strange ones; never half-made."""

from __future__ import annotations

import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest
import sqlalchemy as sa

from pipelines.depot.books.opening import open_books
from pipelines.depot.books.tables import FORM
from pipelines.depot.books.where import FILE, WORD
from pipelines.depot.ledger import Entry
from pipelines.errors import Unusable
from tests.delivery_builders import REPO


def make(root: Path) -> Path:
    """New books in ``root``; the file they are in."""
    open_books(root).close()
    return root / FILE


def test_the_books_are_for_the_owner_only_while_open_and_afterwards(tmp_path: Path) -> None:
    books = open_books(tmp_path)
    with books.transaction():
        books.deliveries.drop("none")
        files = {p.name: stat.S_IMODE(p.stat().st_mode) for p in tmp_path.iterdir() if p.name != WORD}
    books.close()
    assert set(files.values()) == {0o600}
    assert {p.name for p in tmp_path.iterdir()} == {FILE, WORD}


def test_every_promise_of_the_database_holds_on_every_connection(tmp_path: Path) -> None:
    books = open_books(tmp_path)
    with books.reading() as connection:
        kept = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "secure_delete", "busy_timeout")
        }
    books.close()
    assert kept == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "secure_delete": 1,
        "busy_timeout": 30_000,
    }


def test_the_database_learns_how_many_rows_there_are_and_keeps_no_values_for_it(tmp_path: Path) -> None:
    books = open_books(tmp_path)
    try:
        with books.transaction():
            books.ledger.append(Entry(1, "2026-01-01T00:00:00.000", "somebody", "built", "depot", "why"))
        books.take_stock()
        with books.reading() as connection:
            told = "\n".join(str(row) for row in connection.exec_driver_sql("SELECT * FROM sqlite_stat1"))
            has_values = sa.inspect(connection).has_table("sqlite_stat4")
            values = connection.exec_driver_sql("SELECT * FROM sqlite_stat4").all() if has_values else []
    finally:
        books.close()
    assert "ledger" in told
    assert "somebody" not in told
    assert values == []


@pytest.mark.parametrize(("form", "told"), [(FORM + 1, "newer manystrides"), (FORM - 1, "manystrides upgrade")])
def test_books_of_another_form_are_refused_with_what_to_do(tmp_path: Path, form: int, told: str) -> None:
    with sqlite3.connect(make(tmp_path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = ?", (f"{form:04d}",))
    connection.close()
    with pytest.raises(Unusable, match=told):
        open_books(tmp_path)


def test_damaged_books_are_refused_in_plain_words(tmp_path: Path) -> None:
    make(tmp_path).write_bytes(b"these are no books" * 1000)
    with pytest.raises(Unusable, match="damaged"):
        open_books(tmp_path)


def test_a_depot_whose_books_are_lost_is_refused_and_no_new_ones_are_made(tmp_path: Path) -> None:
    make(tmp_path).unlink()
    with pytest.raises(Unusable, match="missing"):
        open_books(tmp_path)
    assert not (tmp_path / FILE).exists()
    (tmp_path / WORD).unlink()
    (tmp_path / "deliveries" / "brack-001").mkdir(parents=True)
    with pytest.raises(Unusable, match="missing"):
        open_books(tmp_path)


def test_the_books_of_another_depot_are_refused(tmp_path: Path) -> None:
    one, other = make(tmp_path / "one"), make(tmp_path / "other")
    other.write_bytes(one.read_bytes())
    with pytest.raises(Unusable, match="not the books of this depot"):
        open_books(tmp_path / "other")


def test_a_damaged_word_is_told_with_a_way_out_that_keeps_the_newest_books(tmp_path: Path) -> None:
    (make(tmp_path).parent / WORD).write_bytes(b"0" * 32)
    with pytest.raises(Unusable, match="move it away") as told:
        open_books(tmp_path)
    assert "backup" not in str(told.value)
    (tmp_path / WORD).unlink()
    open_books(tmp_path).close()
    assert len((tmp_path / WORD).read_text().strip()) == 32
    open_books(tmp_path).close()


def test_books_whose_making_was_killed_are_made_by_the_next(tmp_path: Path) -> None:
    (tmp_path / FILE).touch()
    books = open_books(tmp_path)
    assert books.deliveries.all() == []
    books.close()


@pytest.mark.parametrize("url", ["mysql://x/y", "nonsense", "sqlite:///x"])
def test_a_url_that_cannot_be_used_is_refused(tmp_path: Path, url: str) -> None:
    with pytest.raises(Unusable, match="cannot be opened"):
        open_books(tmp_path, url)
    assert list(tmp_path.iterdir()) == []


def test_books_named_beside_those_in_the_depot_are_refused(tmp_path: Path) -> None:
    make(tmp_path)
    with pytest.raises(Unusable, match="books of its own"):
        open_books(tmp_path, "postgresql://localhost/x")


def test_nothing_of_the_database_is_imported_before_a_depot_is_opened() -> None:
    code = "import sys, pipelines.assets.run, pipelines.depot.storage; print('sqlalchemy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=REPO, check=True)
    assert done.stdout.strip() == "False"
