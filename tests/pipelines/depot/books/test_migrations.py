"""The forms of the books: made by migrations they are the same as made at once, and older ones are brought up to date."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from pipelines.depot.books.opening import form_of, make_engine, open_books
from pipelines.depot.books.tables import FORM, META
from pipelines.depot.books.where import FILE
from pipelines.depot.ledger import Ledger
from pipelines.depot.storage import Depot
from pipelines.depot.upgrade import migrate, upgrade
from pipelines.errors import Unusable


def migrated(root: Path, url: str | None) -> sa.Engine:
    root.mkdir()
    engine = make_engine(root, url)
    migrate(engine)
    return engine


def test_migrations_lead_to_the_tables_that_the_code_knows(tmp_path: Path, url: str | None) -> None:
    engine = migrated(tmp_path / "depot", url)
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), META) == []
    assert form_of(engine, tmp_path) == FORM
    engine.dispose()


def test_migrated_books_are_word_for_word_those_made_at_once(tmp_path: Path) -> None:
    migrated(tmp_path / "migrated", None).dispose()
    open_books(tmp_path / "new").close()

    def told(name: str) -> set[tuple[str, str]]:
        with sqlite3.connect(tmp_path / name / FILE) as connection:
            rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
        connection.close()
        return {(row[0], " ".join(row[1].replace('"', "").split())) for row in rows if row[0] != "alembic_version"}

    assert told("migrated") == told("new")


def put_delivery(connection: sa.Connection) -> None:
    """One delivery, brack-001, as every form of the books keeps it."""
    words = ("brack-001", "brack/brack-001", "taken_in", "", "", "", "", "a word", True, "")
    columns = (
        "delivery_id, arrival, status, fingerprint, received_utc, code_version, study_version, result, held, overrides"
    )
    marks = ", ".join(f":{n}" for n in columns.split(", "))
    row = dict(zip(columns.split(", "), words, strict=True))
    connection.execute(sa.text(f"INSERT INTO deliveries ({columns}) VALUES ({marks})"), row)


@pytest.mark.parametrize("form", ["0004", "0010"])
def test_deliveries_whose_texts_or_packing_nobody_noted_are_due_after_an_upgrade(
    tmp_path: Path, url: str | None, form: str
) -> None:
    (tmp_path / "depot").mkdir()
    engine = make_engine(tmp_path / "depot", url)
    migrate(engine, form)
    with engine.begin() as connection:
        put_delivery(connection)
        for what in ("made", "science"):
            stamp = sa.text("INSERT INTO delivery_stamps (delivery_id, what, used) VALUES ('brack-001', :what, 'then')")
            connection.execute(stamp, {"what": what})
    migrate(engine)
    with engine.connect() as connection:
        assert connection.scalars(sa.text("SELECT what FROM delivery_stamps")).all() == ["science"]
    engine.dispose()


def test_the_ledger_of_migrated_books_is_guarded(tmp_path: Path, url: str | None) -> None:
    engine = migrated(tmp_path / "depot", url)
    with engine.begin() as connection:
        connection.exec_driver_sql("INSERT INTO depot VALUES ('word', '00', 'now', NULL)")
    engine.dispose()
    books = open_books(tmp_path / "depot", url)
    Ledger(books, "ann").write("built", "depot", "First.")
    assert books.ledger.guarded()
    with books.engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.exec_driver_sql("UPDATE ledger SET actor = 'ben'")
    books.close()


def test_upgrading_books_that_need_nothing_does_nothing(tmp_path: Path) -> None:
    open_books(tmp_path).close()
    before = (tmp_path / FILE).read_bytes()
    assert "Nothing to do" in upgrade(Depot(tmp_path), "ann").text()
    assert (tmp_path / FILE).read_bytes() == before


def test_books_of_a_newer_form_and_no_depot_at_all_are_refused(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="no depot"):
        upgrade(Depot(tmp_path / "none"), "ann")
    assert not (tmp_path / "none").exists()
    open_books(tmp_path).close()
    with sqlite3.connect(tmp_path / FILE) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    with pytest.raises(Unusable, match="newer manystrides"):
        upgrade(Depot(tmp_path), "ann")


def test_rows_that_were_told_as_stamps_stand_in_their_table_after_an_upgrade(tmp_path: Path, url: str | None) -> None:
    (tmp_path / "depot").mkdir()
    engine = make_engine(tmp_path / "depot", url)
    migrate(engine, "0008")
    stamps = {"made": "m", "row_sent.sent_sessions.S.1": "a", "row_given.sent_sessions.S.1": "a", "rowing": "r"}
    with engine.begin() as connection:
        put_delivery(connection)
        for what, used in {**stamps, "row_taken.sent_sessions.S.1": "b"}.items():
            stamp = sa.text("INSERT INTO delivery_stamps (delivery_id, what, used) VALUES ('brack-001', :what, :used)")
            connection.execute(stamp, {"what": what, "used": used})
    migrate(engine, "0009")
    with engine.connect() as connection:
        rows = connection.execute(sa.text("SELECT * FROM told_rows")).all()
        left = connection.scalars(sa.text("SELECT what FROM delivery_stamps ORDER BY what")).all()
    assert [tuple(row) for row in rows] == [("brack-001", "sent_sessions", "S.1", "a", "a", "b")]
    assert left == ["made", "rowing"]
    engine.dispose()
