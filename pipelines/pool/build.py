"""Builds the warehouse from the depot's Parquet files: beside the old one, then swapped in, so that no reader breaks.

The Parquet files hold every version of every trial; here the newest accepted one is chosen. What the tables and views
are is in ``schemas`` and ``pipelines.pool.views``.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from checks.findings import Stamp
from pipelines.depot.storage import Depot
from pipelines.pool.analyses import ANALYSIS_TABLES, fill_analyses
from pipelines.pool.site_checks import fill_site_checks
from pipelines.pool.views import all_views
from pipelines.telemetry import DUCKDB_CONFIG
from schemas import core, quality
from schemas.catalogue import tables_of
from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_duckdb import comment_sql, create_table_sql, quote_name, quote_text, view_comment_sql
from schemas.model import Layer, Table

if TYPE_CHECKING:
    import duckdb

    from pipelines.study.file import LoadedStudy

_ABOUT = {
    "study_title": "Title of the study.",
    "invented": "Whether the study is invented, for demonstration.",
    "study_version": "Version of the study file in force.",
    "code_version": "Version of manystrides that built the warehouse.",
    "built_utc": "When it was built, ISO 8601, UTC.",
}

# A version of a trial counts no more once a later delivery of its site brought the trial again; an accepted one stays
# until a later one is accepted or withheld, so that a failed resend does not take good data away.
_VERSIONS = """
CREATE TEMP TABLE versions AS
SELECT s.*, d.delivery_number,
  bool_or(l.trial_id IS NOT NULL AND (s.standing <> 'accepted' OR l.standing IN ('accepted', 'withheld'))) AS again
FROM sent_standings s
JOIN deliveries d USING (delivery_id)
LEFT JOIN (SELECT s.trial_id, s.site, s.standing, d.delivery_number
           FROM sent_standings s JOIN deliveries d USING (delivery_id)) l
  ON l.trial_id = s.trial_id AND l.site = s.site AND l.delivery_number > d.delivery_number
"""
_CURRENT = """
CREATE TEMP TABLE current AS SELECT trial_id, delivery_id FROM versions WHERE standing = 'accepted' AND NOT again
QUALIFY row_number() OVER (PARTITION BY trial_id ORDER BY delivery_number, delivery_id) = 1
"""


@dataclass(frozen=True)
class Built:
    """What was built: rows by table name."""

    path: Path
    rows: dict[str, int]


def build_warehouse(depot: Depot, study: LoadedStudy, code_version: str) -> Built:
    """Build the warehouse and swap it in. Whoever has the old one open keeps reading the old one."""
    import duckdb

    new = depot.warehouse.with_name(depot.warehouse.name + ".new")
    for rest in (new, new.with_name(new.name + ".wal")):
        rest.unlink(missing_ok=True)
    try:
        with duckdb.connect(str(new), config=dict(DUCKDB_CONFIG)) as connection:
            _fill(connection, depot, study)
            fill_analyses(connection, study.study.processing, code_version, study.version)
            make_views(connection, study, code_version)
            fill_site_checks(connection, study.study, Stamp(code_version, study.version))
            rows = {t.name: _count(connection, t.name) for t in warehouse_tables()}
            connection.execute("CHECKPOINT")
    except duckdb.Error as error:
        if os.strerror(errno.ENOSPC) in str(error):  # told like any other full disk
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(new)) from error
        raise
    handle = os.open(new, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)
    new.replace(depot.warehouse)
    return Built(depot.warehouse, rows)


def warehouse_tables() -> tuple[Table, ...]:
    """Every table of the warehouse, filled or not."""
    return tables_of(Layer.CORE, Layer.OUTCOME, Layer.QUALITY)


def _fill(connection: duckdb.DuckDBPyConnection, depot: Depot, study: LoadedStudy) -> None:
    for table in warehouse_tables():
        connection.execute(create_table_sql(table))
        connection.execute(comment_sql(table))
    for table, rows in _from_study(study):
        connection.register("rows", to_arrow_table(table, rows))
        connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT * FROM rows")
        connection.unregister("rows")
    _insert(connection, depot, core.DELIVERIES)
    _choose_versions(connection, depot)
    # trials before sessions and runners: a session is there because one of its trials is
    first = (core.TRIALS, core.SESSIONS, core.RUNNERS)
    done = {core.DELIVERIES.name, quality.STANDINGS.name, *(t.name for t in (*first, *ANALYSIS_TABLES))}
    for table in (*first, *(t for t in warehouse_tables() if t.name not in done)):
        _insert(connection, depot, table, _which(table))


def _which(table: Table) -> str:
    """Which rows of a table's Parquet files belong into the warehouse, as the end of a SELECT over them."""
    if table.layer is Layer.QUALITY or table is core.DELIVERY_FILES:
        return ""
    columns = set(table.column_names)
    if "trial_id" in columns:
        return "SEMI JOIN current USING (trial_id, delivery_id)"
    if "session_id" in columns:
        own = "session_id IN (SELECT session_id FROM trials)"
    else:
        own = "participant_id IN (SELECT participant_id FROM trials)"
    key = ", ".join(quote_name(name) for name in table.key)
    newest = f"row_number() OVER (PARTITION BY {key} ORDER BY d.delivery_number DESC, d.delivery_id) = 1"
    return (
        f"JOIN (SELECT delivery_id, delivery_number FROM deliveries) d USING (delivery_id) WHERE {own} QUALIFY {newest}"
    )


def _insert(connection: duckdb.DuckDBPyConnection, depot: Depot, table: Table, which: str = "") -> None:
    if source := _parquet(depot, table):
        columns = _columns(connection, table, source)
        connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT {columns} FROM {source} {which}")


def _choose_versions(connection: duckdb.DuckDBPyConnection, depot: Depot) -> None:
    table = quality.STANDINGS
    name = quote_name(table.name)
    source = _parquet(depot, table)
    columns = _columns(connection, table, source) if source else "*"
    connection.execute(f"CREATE TEMP TABLE sent_standings AS SELECT {columns} FROM {source or name}")
    own = ", ".join(f"s.{quote_name(c)}" for c in table.column_names)
    connection.execute(f"{_VERSIONS} GROUP BY {own}, d.delivery_number")
    connection.execute(_CURRENT)
    connection.execute(
        f"INSERT INTO {name} BY NAME "
        "SELECT * EXCLUDE (delivery_number, again) REPLACE (again AS superseded) FROM versions"
    )


def _parquet(depot: Depot, table: Table) -> str:
    """The table's files as an SQL source; empty if there is none."""
    paths = [depot.table_path(name, table) for name in depot.delivery_ids()]
    files = ", ".join(quote_text(str(path)) for path in paths if path.exists())
    return f"read_parquet([{files}], union_by_name => true) p" if files else ""


def _columns(connection: duckdb.DuckDBPyConnection, table: Table, source: str) -> str:
    """The table's columns that are in the files: an old, stopped delivery may lack a newer column."""
    found = {row[0] for row in connection.execute(f"DESCRIBE SELECT * FROM {source}").fetchall()}
    return ", ".join(quote_name(name) for name in table.column_names if name in found)


def _from_study(study: LoadedStudy) -> Iterable[tuple[Table, list[dict[str, Any]]]]:
    settings = study.study
    yield (
        core.SITES,
        [
            {
                "site": name,
                "description": site.description,
                "surface": site.profile.surface,
                "force_rate_hz": site.profile.force_rate_hz,
                "marker_rate_hz": site.profile.marker_rate_hz,
            }
            for name, site in settings.sites.items()
        ],
    )
    yield (
        core.CONDITIONS,
        [{"condition": name, "description": c.description} for name, c in settings.conditions.items()],
    )
    yield core.VISITS, [{"visit": name, "planned_week": v.planned_week} for name, v in settings.visits.items()]


def make_views(connection: duckdb.DuckDBPyConnection, study: LoadedStudy, code_version: str) -> None:
    """The views over tables that are filled, and the one that says which study and code made them."""
    for view in all_views():
        connection.execute(f"CREATE VIEW {quote_name(view.name)} AS {view.sql}")
        connection.execute(view_comment_sql(view.name, view.about, view.columns))
    values = (
        study.study.title,
        study.study.invented,
        study.version,
        code_version,
        datetime.now(UTC).isoformat(timespec="seconds"),
    )
    about = ", ".join(
        f"{value if isinstance(value, bool) else quote_text(str(value))} AS {name}"
        for name, value in zip(_ABOUT, values, strict=True)
    )
    connection.execute(f"CREATE VIEW about_this_warehouse AS SELECT {about}")
    connection.execute(
        view_comment_sql("about_this_warehouse", "One row: which study and code made this warehouse.", _ABOUT)
    )


def _count(connection: duckdb.DuckDBPyConnection, table: str) -> int:
    row = connection.execute(f"SELECT count(*) FROM {quote_name(table)}").fetchone()
    return int(row[0]) if row else 0
