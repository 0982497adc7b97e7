"""Books copied as they are at one moment, into a file of SQLite, whatever database they are in; and back again."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from pipelines.depot.books.book import WRITES, told_plainly
from pipelines.depot.books.tables import META
from pipelines.errors import Unusable

_FORM = sa.table("alembic_version", sa.column("version_num"))
_AT_ONCE = 1_000


def copy_books(engine: sa.Engine, target: Path) -> None:
    """Copy the books into a new file; writers need not wait."""
    if engine.dialect.name == "sqlite":
        with told_plainly(engine), engine.connect() as reading, closing(sqlite3.connect(target)) as copy:
            source = reading.connection.driver_connection
            assert isinstance(source, sqlite3.Connection)
            source.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE").close()
        return
    file = sa.create_engine(f"sqlite:///{target}")
    try:
        _rows(engine, file)
    finally:
        file.dispose()


def fill_database(source: sa.Engine, target: sa.Engine) -> None:
    """Fill an empty database from a copy. Raises Unusable if it is not empty."""
    if sa.inspect(target).has_table("alembic_version"):
        seen, expected = "The database has books already.", "an empty database."
        raise Unusable(seen, expected, "Name another with --books or MANYSTRIDES_BOOKS.")
    _rows(source, target)


def _rows(source: sa.Engine, target: sa.Engine) -> None:
    """Every row, read in one transaction and written in one."""
    from pipelines.depot.books.opening import make_form_table

    writes = {WRITES: True}
    with (
        told_plainly(source),
        source.connect() as reading,
        target.connect().execution_options(**writes) as writing,
        writing.begin(),
    ):
        META.create_all(writing)
        form = str(reading.scalar(sa.select(_FORM.c.version_num)))
        make_form_table(writing, form)
        for table in META.sorted_tables:
            query = sa.select(table).order_by(*table.primary_key.columns)
            for portion in reading.execute(query).mappings().partitions(_AT_ONCE):
                writing.execute(sa.insert(table), [dict(row) for row in portion])
