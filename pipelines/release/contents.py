"""What goes into a release: the warehouse's tables, who runners are only as far as enough share it, in a new database.

Which tables, columns and quantities leave is in their definitions (``schemas.leaving``).

A new database file, never a copy: DuckDB does not overwrite what was deleted, so a copy could still hold old bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.errors import Unusable
from pipelines.release.disclose import TOLD, Earlier, tell
from pipelines.release.generalise import Told
from pipelines.telemetry import DUCKDB_CONFIG
from schemas import core
from schemas.catalogue import TABLES
from schemas.convert.to_duckdb import comment_sql, create_table_sql, quote_name, quote_text
from schemas.model import Field, Table
from schemas.privacy import RUNNER, SESSION, TRIAL

if TYPE_CHECKING:
    import duckdb

    from pipelines.study.file import LoadedStudy

#: Tables that say what the study is, and nothing of what was recorded.
_OF_THE_STUDY = frozenset({core.SITES.name, core.CONDITIONS.name, core.VISITS.name})


def released_tables() -> tuple[Table, ...]:
    """Every table of a release, with the columns that its definition lets leave."""
    return tuple(released(table) for table in TABLES.values() if table.leaves is not None)


def released(table: Table) -> Table:
    """``table`` as it leaves: nothing but what its definition names."""
    names = set(table.leaves.names if table.leaves else ())
    leaving = (field for field in table.fields if field.name in names)
    fields = tuple(replace(f, nullable=f.nullable or f.told is not None, description=_described(f)) for f in leaving)
    references = tuple(r for r in table.references if set(r.columns) <= names)
    return replace(table, fields=fields, references=references)


def leaving_rows(connection: duckdb.DuckDBPyConnection, table: Table) -> str:
    """A condition that keeps rows out whose quantity does not leave, or that stay for what they are made of; "" if all
    leave."""
    leaves, conditions = table.leaves, []
    if leaves is not None and leaves.by is not None:
        told_by = quote_name(leaves.by)
        words = connection.execute(f"SELECT DISTINCT {told_by} FROM pooled.{quote_name(table.name)}").fetchall()
        kept = [str(word) for (word,) in words if word is not None and leaves.lets(str(word))]
        conditions.append(f"{told_by} IN ({', '.join(map(quote_text, kept)) or 'NULL'})")
    if leaves is not None and leaves.unless is not None:
        conditions.append(f"{quote_name(leaves.unless)} = 'none'")
    return " AND ".join(conditions)


def _described(field: Field) -> str:
    if field.told is None:
        return field.description
    how = "given in bands by their lower end, or left out" if field.told.bands else "left out"
    return f"{field.description.rstrip('.')}; {how} where too few runners share it (README.md)."


def shared_openly() -> tuple[Table, ...]:
    """Of a release's tables those whose rows lead to a runner, and what the study itself says."""
    return tuple(t for t in released_tables() if t.rows and (t.rows.by is not None or t.name in _OF_THE_STUDY))


def fill(
    target: Path,
    warehouse: Path,
    study: LoadedStudy,
    code_version: str,
    only: frozenset[str] | None = None,
    earlier: Sequence[Earlier] = (),
) -> Told:
    """Make the release's database at ``target`` from the depot's warehouse; returns how exactly runners are told.

    only: the runners of a release that is shared openly; None: all, and all tables. earlier: what releases before told
    of who runners are. Raises Unusable.
    """
    import duckdb

    from pipelines.pool.build import make_views, refuse_disk_full, tell_about

    tables = released_tables() if only is None else shared_openly()
    try:
        with duckdb.connect(str(target), config=dict(DUCKDB_CONFIG)) as connection:
            connection.execute(f"ATTACH {quote_text(str(warehouse))} AS pooled (READ_ONLY)")
            every = {row[0] for row in connection.execute("SELECT participant_id FROM pooled.runners").fetchall()}
            runners = every if only is None else every & only
            told = tell(connection, study.study, runners, tables, earlier)
            for table in tables:
                connection.execute(create_table_sql(table))
                connection.execute(comment_sql(table))
                connection.execute(_insert(table, leaving_rows(connection, table), all_runners=only is None))
            connection.execute(f"DROP TABLE {TOLD}")
            connection.execute("DETACH pooled")
            if only is None:
                make_views(connection, tables)
            tell_about(connection, study, code_version)
            connection.execute("CHECKPOINT")
    except duckdb.Error as error:
        refuse_disk_full(error, target)
        if not isinstance(error, duckdb.IOException):
            raise
        seen = f"The warehouse cannot be read: {error}"
        raise Unusable(seen, "a warehouse of this depot.", "Run `manystrides run` first.", file=warehouse) from None
    return told


def _insert(table: Table, only: str, *, all_runners: bool) -> str:
    name, columns = quote_name(table.name), ", ".join(quote_name(c) for c in table.column_names)
    source = f"SELECT {columns} FROM pooled.{name}"
    conditions = [one for one in (only, "" if all_runners else _of_them(table)) if one]
    source += f" WHERE {' AND '.join(conditions)}" if conditions else ""
    if table.key == (RUNNER,):
        quasi = [f.name for f in table.fields if f.told is not None]
        told = ", ".join(f"w.{quote_name(c)} AS {quote_name(c)}" for c in quasi)
        left = ", ".join(quote_name(c) for c in quasi)
        source = f"SELECT s.* EXCLUDE ({left}), {told} FROM ({source}) s JOIN {TOLD} w USING ({RUNNER})"
    keys = ", ".join(quote_name(key) for key in table.key)
    return f"INSERT INTO {name} BY NAME SELECT * FROM ({source}) ORDER BY {keys}"


def _of_them(table: Table) -> str:
    """Only rows that lead to the runners of an open release."""
    by = table.rows.by if table.rows else None
    runners = f"(SELECT {RUNNER} FROM {TOLD})"
    if by is None:
        return ""
    if RUNNER in table.column_names:
        return f"{RUNNER} IN {runners}"
    owner = {SESSION: "sessions", TRIAL: "trials"}[by]
    return f"{by} IN (SELECT {by} FROM pooled.{owner} WHERE {RUNNER} IN {runners})"


def write_parquet(database: Path, folder: Path) -> None:
    """One Parquet file for each table that is there, with its definition in the file, as everywhere."""
    import duckdb

    from pipelines.depot.keys import file_of
    from pipelines.depot.storage import write_table

    with duckdb.connect(str(database), read_only=True, config=dict(DUCKDB_CONFIG)) as connection:
        there = {row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
        for table in (t for t in released_tables() if t.name in there):
            keys = ", ".join(quote_name(key) for key in table.key)
            rows = connection.sql(f"SELECT * FROM {quote_name(table.name)} ORDER BY {keys}").df()
            write_table(table, rows, folder / file_of(table))
