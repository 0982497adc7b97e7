"""Brings deliveries into a warehouse: their own tables, and of each trial, runner and session the rows that count.

The Parquet files hold every version of every trial; here is chosen which counts. A new warehouse is filled as an old
one is brought up to date: with all deliveries being new.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.pool.analyses import ANALYSIS_TABLES
from pipelines.pool.made_from import NAME_SQL
from schemas import core, quality
from schemas import outcomes_flow as flow
from schemas.catalogue import tables_of
from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_duckdb import quote_name, quote_text
from schemas.model import Layer, Table

if TYPE_CHECKING:
    import duckdb

    from pipelines.depot.published import ProvedResults
    from pipelines.study.file import LoadedStudy

# A version of a trial counts no more once a later delivery of its site brought the trial again; an accepted one stays
# until a later one is accepted or withheld, so that a failed resend does not take good data away.
_VERSIONS = """
CREATE OR REPLACE TEMP TABLE versions AS
SELECT s.delivery_id, s.trial_id, any_value(s.standing) AS standing, any_value(d.delivery_number) AS delivery_number,
  bool_or(l.trial_id IS NOT NULL AND (s.standing <> 'accepted' OR l.standing IN ('accepted', 'withheld'))) AS again
FROM standings s
JOIN deliveries d USING (delivery_id)
LEFT JOIN (SELECT s.trial_id, s.site, s.standing, d.delivery_number
           FROM standings s JOIN deliveries d USING (delivery_id)) l
  ON l.trial_id = s.trial_id AND l.site = s.site AND l.delivery_number > d.delivery_number
GROUP BY s.delivery_id, s.trial_id;
UPDATE standings s SET superseded = v.again FROM versions v
WHERE s.delivery_id = v.delivery_id AND s.trial_id = v.trial_id AND s.superseded IS DISTINCT FROM v.again;
CREATE OR REPLACE TEMP TABLE counting AS
SELECT trial_id, delivery_id FROM versions WHERE standing = 'accepted' AND NOT again
QUALIFY row_number() OVER (PARTITION BY trial_id ORDER BY delivery_number, delivery_id) = 1;
"""
# The trials of a delivery with another result leave and enter, since their rows may be more now.
_MOVES = """
CREATE OR REPLACE TEMP TABLE leaving AS
SELECT trial_id, delivery_id, participant_id, session_id FROM trials
WHERE list_contains($1, delivery_id) OR (trial_id, delivery_id) NOT IN (SELECT (trial_id, delivery_id) FROM counting);
CREATE OR REPLACE TEMP TABLE entering AS
SELECT trial_id, delivery_id FROM counting
WHERE list_contains($1, delivery_id) OR (trial_id, delivery_id) NOT IN (SELECT (trial_id, delivery_id) FROM trials);
"""
#: What may be told otherwise of the same thing in a new result of a delivery, without anything being lost.
_TOLD_ANEW = frozenset(
    {"standing", "superseded", "accepted_by_override", "finding_count", "status", "code_version", "study_version"}
)


class LostRows(Exception):
    """Something that was in the warehouse would be in it no more."""


@dataclass(frozen=True)
class Delta:
    """Deliveries that are new to a warehouse, and those of which it holds another result."""

    new: tuple[str, ...]
    changed: tuple[str, ...] = ()

    @property
    def all(self) -> tuple[str, ...]:
        """Both."""
        return (*self.new, *self.changed)


def warehouse_tables() -> tuple[Table, ...]:
    """Every table of the warehouse, filled or not."""
    return tables_of(Layer.CORE, Layer.OUTCOME, Layer.QUALITY)


def bring_in(connection: duckdb.DuckDBPyConnection, results: ProvedResults, delta: Delta) -> None:
    """Bring the deliveries in. Raises LostRows if that would take away what no newer row stands for.

    Raises Unusable if a file is not what was published.

    Afterwards the temporary tables ``leaving`` and ``entering`` say which trials went out and came in.
    """
    for table in _sent() if delta.changed else ():
        _refuse_loss(connection, results, table, delta.changed)
    for table in (t for t in _sent() if _of_delivery(t)):
        _delete(connection, table, "list_contains($1, delivery_id)", [list(delta.changed)])
        _insert(connection, results, table, delta.all)
    connection.execute(_VERSIONS)
    for statement in _MOVES.split(";\n"):
        if statement.strip():
            connection.execute(statement, [list(delta.changed)])
    _refuse_rest(connection, "SELECT trial_id FROM leaving ANTI JOIN counting USING (trial_id)")
    of_trials = [t for t in _sent() if not _of_delivery(t) and "trial_id" in t.column_names]
    for table in sorted(of_trials, key=lambda t: t is not core.TRIALS):
        _move_trials(connection, results, table)
    _note_enrolled(connection, results, delta)
    _note_names(connection, results, delta)
    _move_owners(connection, results, [t for t in _sent() if not _of_delivery(t) and "trial_id" not in t.column_names])


def fill_from_study(connection: duckdb.DuckDBPyConnection, study: LoadedStudy) -> None:
    """Sites, conditions and visits as the study file has them now."""
    for table, rows in _from_study(study):
        _delete(connection, table, "true")
        insert_rows(connection, table, rows)


def insert_rows(connection: duckdb.DuckDBPyConnection, table: Table, rows: Any) -> None:
    """Insert rows, as dicts or a data frame, that were made here and not read from a delivery."""
    connection.register("rows", to_arrow_table(table, rows))
    connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT * FROM rows")
    connection.unregister("rows")


def refuse_doubles(connection: duckdb.DuckDBPyConnection) -> None:
    """Raises ValueError if a key stands twice.

    Looked at are the tables into which rows of several deliveries go. All rows of a trial in any other come from a
    single delivery, and within its file ``write_table`` has looked; a key kept by the database would make it seven
    times as large.
    """
    of_trials = {t.name for t in warehouse_tables() if "trial_id" in t.column_names and not _of_delivery(t)}
    of_one_delivery = {t.name for t in warehouse_tables() if "delivery_id" in t.key} | {quality.FINDING_PICTURES.name}
    for table in warehouse_tables():
        if table is core.TRIALS or table.name not in of_trials | of_one_delivery:
            keys = ", ".join(map(quote_name, table.key))
            double = f"SELECT {keys} FROM {quote_name(table.name)} GROUP BY ALL HAVING count(*) > 1 LIMIT 1"
            for row in connection.execute(double).fetchall():
                first = dict(zip(table.key, row, strict=True))
                raise ValueError(f"table {table.name}: rows repeat a key, first {first}")


def _sent() -> list[Table]:
    """Tables that deliveries bring."""
    made_here = {core.SITES.name, core.CONDITIONS.name, core.VISITS.name, *(t.name for t in ANALYSIS_TABLES)}
    made_here |= {quality.SITE_EXPECTATIONS.name, quality.SITE_CONTROL_POINTS.name}
    return [t for t in warehouse_tables() if t.name not in made_here]


def _of_delivery(table: Table) -> bool:
    """Whether all of a delivery's rows are in, whatever became of its trials."""
    return table.layer is Layer.QUALITY or table in (core.DELIVERIES, core.DELIVERY_FILES)


def _refuse_loss(
    connection: duckdb.DuckDBPyConnection, results: ProvedResults, table: Table, changed: Sequence[str]
) -> None:
    names = ", ".join(quote_name(n) for n in table.column_names if n not in _TOLD_ANEW)
    source = _parquet(results, table, changed)
    new = f"SELECT {names} FROM {source}" if source else f"SELECT {names} FROM {quote_name(table.name)} LIMIT 0"
    old = f"SELECT {names} FROM {quote_name(table.name)} WHERE list_contains($1, delivery_id)"
    _refuse_rest(connection, f"({old}) EXCEPT ({new})", [list(changed)])


def _refuse_rest(connection: duckdb.DuckDBPyConnection, sql: str, values: list[Any] | None = None) -> None:
    if connection.execute(f"SELECT 1 FROM ({sql}) LIMIT 1", values or []).fetchall():
        raise LostRows(sql)


def _move_trials(connection: duckdb.DuckDBPyConnection, results: ProvedResults, table: Table) -> None:
    name = quote_name(table.name)
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE held AS SELECT DISTINCT trial_id FROM {name} "
        "SEMI JOIN leaving USING (trial_id, delivery_id)"
    )
    if _some(connection, "leaving"):
        _delete(connection, table, "(trial_id, delivery_id) IN (SELECT (trial_id, delivery_id) FROM leaving)")
    deliveries = connection.execute("SELECT DISTINCT delivery_id FROM entering ORDER BY ALL").fetchall()
    _insert(connection, results, table, [d for (d,) in deliveries], "SEMI JOIN entering USING (trial_id, delivery_id)")
    _refuse_rest(connection, f"SELECT trial_id FROM held ANTI JOIN {name} USING (trial_id)")


def _note_enrolled(connection: duckdb.DuckDBPyConnection, results: ProvedResults, delta: Delta) -> None:
    """Whom the deliveries name: their rows of runners, whether a trial of theirs is in or not."""
    columns = "participant_id, delivery_id, site, code_version, study_version"
    named = f"FROM {source}" if (source := _parquet(results, core.RUNNERS, delta.all)) else "FROM runners LIMIT 0"
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE they AS SELECT {columns} FROM (SELECT DISTINCT participant_id, delivery_id "
        f"{named}) JOIN deliveries USING (delivery_id) WHERE site IS NOT NULL"
    )
    changed, table = [list(delta.changed)], flow.ENROLLED_RUNNERS
    old = "SELECT participant_id, delivery_id FROM enrolled_runners WHERE list_contains($1, delivery_id)"
    _refuse_rest(connection, f"({old}) EXCEPT (SELECT participant_id, delivery_id FROM they)", changed)
    _delete(connection, table, "list_contains($1, delivery_id)", changed)
    connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT {columns} FROM they")


def _note_names(connection: duckdb.DuckDBPyConnection, results: ProvedResults, delta: Delta) -> None:
    """Which runners and sessions the deliveries have rows of, and which of them are touched by what came."""
    connection.execute("DELETE FROM made_from.named WHERE list_contains($1, delivery_id)", [list(delta.changed)])
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE touched AS SELECT participant_id AS id FROM leaving UNION SELECT session_id "
        "FROM leaving UNION SELECT participant_id FROM trials SEMI JOIN entering USING (trial_id) "
        "UNION SELECT session_id FROM trials SEMI JOIN entering USING (trial_id)"
    )
    for table in (t for t in _sent() if not _of_delivery(t) and "trial_id" not in t.column_names):
        if source := _parquet(results, table, delta.all):
            for column in {"participant_id", "session_id"} & set(_found(connection, table, source)):
                rows = f"SELECT DISTINCT delivery_id, {column} AS id FROM {source}"
                name = NAME_SQL.format(id="id")
                connection.execute(f"INSERT INTO made_from.named SELECT DISTINCT delivery_id, {name} FROM ({rows})")
                connection.execute(f"INSERT INTO touched SELECT DISTINCT id FROM ({rows})")


def _move_owners(connection: duckdb.DuckDBPyConnection, results: ProvedResults, tables: Iterable[Table]) -> None:
    """Rows of runners and sessions that were touched: of each key the newest, if a trial of theirs is in."""
    name = NAME_SQL.format(id="id")
    deliveries = connection.execute(
        f"SELECT DISTINCT delivery_id FROM made_from.named WHERE name IN (SELECT {name} FROM touched) ORDER BY ALL"
    ).fetchall()
    ids = [delivery for (delivery,) in deliveries]
    for table in tables:
        owner = "session_id" if "session_id" in table.column_names else "participant_id"
        keys = ", ".join(quote_name(key) for key in table.key)
        mine = f"{owner} IN (SELECT id FROM touched)"
        connection.execute(
            f"CREATE OR REPLACE TEMP TABLE held AS SELECT {keys} FROM {quote_name(table.name)} WHERE {mine}"
        )
        _delete(connection, table, mine)
        newest = f"row_number() OVER (PARTITION BY {keys} ORDER BY d.delivery_number DESC, d.delivery_id) = 1"
        which = (
            "JOIN (SELECT delivery_id, delivery_number FROM deliveries) d USING (delivery_id) "
            f"WHERE {mine} AND {owner} IN (SELECT {owner} FROM trials) QUALIFY {newest}"
        )
        _insert(connection, results, table, ids, which)
        _refuse_rest(connection, f"SELECT {keys} FROM held ANTI JOIN {quote_name(table.name)} USING ({keys})")


def _some(connection: duckdb.DuckDBPyConnection, table: str) -> bool:
    return bool(connection.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchall())


def _delete(connection: duckdb.DuckDBPyConnection, table: Table, where: str, values: list[Any] | None = None) -> None:
    connection.execute(f"DELETE FROM {quote_name(table.name)} WHERE {where}", values or [])


def _insert(
    connection: duckdb.DuckDBPyConnection,
    results: ProvedResults,
    table: Table,
    deliveries: Sequence[str],
    which: str = "",
) -> None:
    if source := _parquet(results, table, deliveries):
        columns = ", ".join(map(quote_name, _found(connection, table, source)))
        connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT {columns} FROM {source} {which}")


def _parquet(results: ProvedResults, table: Table, deliveries: Iterable[str]) -> str:
    """The table's files of these deliveries as an SQL source; empty if there is none."""
    files = ", ".join(quote_text(str(path)) for path in results.paths(deliveries, table))
    return f"read_parquet([{files}], union_by_name => true) p" if files else ""


def _found(connection: duckdb.DuckDBPyConnection, table: Table, source: str) -> list[str]:
    """The table's columns that are in the files: an old, stopped delivery may lack a newer column."""
    found = {row[0] for row in connection.execute(f"DESCRIBE SELECT * FROM {source}").fetchall()}
    return [name for name in table.column_names if name in found]


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
