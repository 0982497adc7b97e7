"""What goes into a release: the warehouse's tables with attributes that few runners share left out, in a new database.

A new database file, never a copy: DuckDB does not overwrite what was deleted, so a copy could still hold old bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.errors import Unusable
from pipelines.telemetry import DUCKDB_CONFIG
from schemas import quality
from schemas.catalogue import tables_of
from schemas.convert.to_duckdb import COLUMN_TYPES, comment_sql, create_table_sql, quote_name, quote_text
from schemas.model import Field, Kind, Layer, Table
from schemas.privacy import RUNNER, Privacy

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy

_UNITS = {"a": "years"}


def released_tables() -> tuple[Table, ...]:
    """Every table of a release, with the columns that may leave; which may follows from their privacy."""
    kept = tables_of(Layer.CORE, Layer.OUTCOME, Layer.QUALITY)
    return tuple(released for table in kept if (released := _released(table)) is not None)


def _of_name(name: str) -> Table:
    return next(table for table in released_tables() if table.name == name)


def _released(table: Table) -> Table | None:
    """The table as it leaves; None for one that stays, does not say whose its rows are, or would lose its key."""
    leaving = [field for field in table.fields if _leaves(table, field)]
    names = {field.name for field in leaving}
    if table.stays or table.rows is None or not set(table.key) <= names:
        return None
    fields = tuple(replace(f, nullable=f.nullable or _is_shared(f), description=_described(f)) for f in leaving)
    references = tuple(r for r in table.references if set(r.columns) <= names)
    return replace(table, fields=fields, references=references)


def _leaves(table: Table, field: Field) -> bool:
    """Plain and sensitive columns leave, of those that identify the study's own codes; others only as declared.

    Whether enough runners share a value can be counted only where a row is a runner.
    """
    if field.privacy is Privacy.QUASI:
        return field.told is not None and (not field.told.shared or table.key == (RUNNER,))
    return field.privacy in (Privacy.PLAIN, Privacy.SENSITIVE) or field.is_code_of_the_study


def _is_shared(field: Field) -> bool:
    return field.told is not None and field.told.shared


def _described(field: Field) -> str:
    told, unit = field.told, _UNITS.get(field.unit or "", field.unit)
    parts = [f"told in bands of {told.band} {unit} by their lower end"] if told and told.band else []
    parts += ["left out where too few runners share it"] if told and told.shared else []
    return f"{field.description.rstrip('.')}; {', '.join(parts)}." if parts else field.description


def fill(target: Path, warehouse: Path, study: LoadedStudy, code_version: str) -> None:
    """Make the release's database at ``target`` from the depot's warehouse. Raises Unusable."""
    import duckdb

    from pipelines.pool.build import make_views, tell_about

    smallest = study.study.smallest_cell
    try:
        with duckdb.connect(str(target), config=dict(DUCKDB_CONFIG)) as connection:
            connection.execute(f"ATTACH {quote_text(str(warehouse))} AS pooled (READ_ONLY)")
            for table in released_tables():
                connection.execute(create_table_sql(table))
                connection.execute(comment_sql(table))
                connection.execute(_insert(table, smallest))
            connection.execute("DETACH pooled")
            make_views(connection, _of_name(quality.FINDINGS.name))
            tell_about(connection, study, code_version)
            connection.execute("CHECKPOINT")
    except duckdb.IOException as error:
        seen = f"The warehouse cannot be read: {error}"
        raise Unusable(seen, "a warehouse of this depot.", "Run `manystrides run` first.", file=warehouse) from None


def _insert(table: Table, smallest: int) -> str:
    name, columns = quote_name(table.name), ", ".join(quote_name(c) for c in table.column_names)
    source = f"SELECT {columns} FROM pooled.{name}"
    if told := list(_told(table, smallest)):
        source = f"SELECT * REPLACE ({', '.join(told)}) FROM ({source})"
    keys = ", ".join(quote_name(key) for key in table.key)
    return f"INSERT INTO {name} BY NAME SELECT * FROM ({source}) ORDER BY {keys}"


def _told(table: Table, smallest: int) -> Iterator[str]:
    """How quasi columns are told, as SQL: in bands, and only where enough rows share it and those told before it.

    Words come before numbers, since fewer of them are different.
    """
    before: list[str] = []
    quasi = [f for f in table.fields if f.told is not None and (f.told.band or f.told.shared)]
    for field in sorted(quasi, key=lambda f: f.kind is not Kind.CODE):
        assert field.told is not None
        name, band = quote_name(field.name), field.told.band
        value = f"(floor({name} / {band}) * {band})::{COLUMN_TYPES[field.kind]}" if band else name
        if field.told.shared:
            before.append(value)
            value = f"CASE WHEN count(*) OVER (PARTITION BY {', '.join(before)}) >= {smallest} THEN {value} END"
        yield f"{value} AS {name}"


def write_parquet(database: Path, folder: Path) -> None:
    """One Parquet file a table, with its definition in the file, as everywhere."""
    import duckdb

    from pipelines.depot.storage import write_table

    with duckdb.connect(str(database), read_only=True, config=dict(DUCKDB_CONFIG)) as connection:
        for table in released_tables():
            keys = ", ".join(quote_name(key) for key in table.key)
            rows = connection.sql(f"SELECT * FROM {quote_name(table.name)} ORDER BY {keys}").df()
            write_table(table, rows, folder / f"{table.name}.parquet")
