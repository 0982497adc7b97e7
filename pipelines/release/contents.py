"""What goes into a release: the warehouse's tables with attributes that few runners share left out, in a new database.

A new database file, never a copy: DuckDB does not overwrite what was deleted, so a copy could still hold old bytes.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.errors import Unusable
from pipelines.telemetry import DUCKDB_CONFIG
from schemas import core, quality
from schemas.catalogue import tables_of
from schemas.convert.to_duckdb import comment_sql, create_table_sql, quote_name, quote_text
from schemas.model import Layer, Table

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy

#: Of no use to a statistician, or telling of people: names of files, bits of signals drawn for the laboratories.
_LEFT_OUT = frozenset({core.DELIVERY_FILES.name, quality.SIGNAL_TRACES.name, quality.TRIAL_SHAPES.name})
#: Attributes by which a person could be known again: they are told of a runner only if enough others share them.
SHARED = ("sex", "birth_year")
YEARS_TOGETHER = 10  # birth years are given as the first year of their decade

_BAND = f"(birth_year // {YEARS_TOGETHER}) * {YEARS_TOGETHER}"


def released_tables() -> tuple[Table, ...]:
    """Every table of a release; of runners the birth year is a decade, and it or the sex may be left out."""
    kept = tables_of(Layer.CORE, Layer.OUTCOME, Layer.QUALITY)
    return tuple(_runners() if t is core.RUNNERS else t for t in kept if t.name not in _LEFT_OUT)


def _runners() -> Table:
    words = {
        "birth_year": "First year of the decade of birth; left out where too few runners share decade and sex.",
        "sex": "Sex as stated by the runner; left out where too few runners share it.",
    }
    fields = tuple(
        replace(f, description=words[f.name], nullable=True) if f.name in words else f for f in core.RUNNERS.fields
    )
    return replace(core.RUNNERS, fields=fields)


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
            make_views(connection)
            tell_about(connection, study, code_version)
            connection.execute("CHECKPOINT")
    except duckdb.IOException as error:
        seen = f"The warehouse cannot be read: {error}"
        raise Unusable(seen, "a warehouse of this depot.", "Run `manystrides run` first.", file=warehouse) from None


def _insert(table: Table, smallest: int) -> str:
    name, columns = quote_name(table.name), ", ".join(quote_name(c) for c in table.column_names)
    source = f"SELECT {columns} FROM pooled.{name}"
    if table.name == core.RUNNERS.name:
        enough = f"count(*) OVER (PARTITION BY sex, {_BAND}) >= {smallest}"
        enough_of_sex = f"count(*) OVER (PARTITION BY sex) >= {smallest}"
        source = (
            f"SELECT * REPLACE (CASE WHEN {enough} THEN {_BAND} END AS birth_year, "
            f"CASE WHEN {enough_of_sex} THEN sex END AS sex) FROM ({source})"
        )
    keys = ", ".join(quote_name(key) for key in table.key)
    return f"INSERT INTO {name} BY NAME SELECT * FROM ({source}) ORDER BY {keys}"


def write_parquet(database: Path, folder: Path) -> None:
    """One Parquet file a table, with its definition in the file, as everywhere."""
    import duckdb

    from pipelines.depot.storage import write_table

    with duckdb.connect(str(database), read_only=True, config=dict(DUCKDB_CONFIG)) as connection:
        for table in released_tables():
            keys = ", ".join(quote_name(key) for key in table.key)
            rows = connection.sql(f"SELECT * FROM {quote_name(table.name)} ORDER BY {keys}").df()
            write_table(table, rows, folder / f"{table.name}.parquet")
