"""Brings the warehouse up to date beside the old one, then swaps it in, so that no reader breaks or sees a half of it.

The old file is copied, what changed is changed in the copy in one transaction, and the copy renamed over the old name:
whoever has the old file open keeps reading it. Where rows have to go for good the file is made anew from the Parquet
files instead, since a database keeps the bytes of deleted rows in free blocks: a runner who has withdrawn, or whose
consent or trial is no longer good, must not be in the file at all. What is deleted in place is only what a newer row
of the same trial, runner or session has taken the place of.
"""

from __future__ import annotations

import errno
import hashlib
import logging
import os
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from checks.findings import Stamp
from pipelines import logs
from pipelines.depot import keys
from pipelines.depot.published import ProvedResults
from pipelines.depot.storage import Depot
from pipelines.pool import made_from
from pipelines.pool.analyses import fill_analyses, move_trial_values
from pipelines.pool.beside import Beside
from pipelines.pool.filling import Delta, LostRows, bring_in, fill_from_study, refuse_doubles, warehouse_tables
from pipelines.pool.readied import Readied
from pipelines.pool.site_checks import fill_site_checks
from pipelines.pool.views import all_views
from pipelines.telemetry import DUCKDB_CONFIG
from schemas.catalogue import TABLES
from schemas.convert.to_duckdb import comment_sql, create_table_sql, quote_name, quote_text, view_comment_sql
from schemas.model import Table

if TYPE_CHECKING:
    import duckdb

    from pipelines.depot.plans import Frozen
    from pipelines.study.file import LoadedStudy

log = logging.getLogger(__name__)
#: Deliveries that together seldom hold enough runners for anything that the checks of whole sites ask the library.
_FEW = 3
_ABOUT = {
    "study_title": "Title of the study.",
    "invented": "Whether the study is invented, for demonstration.",
    "study_version": "Version of the study file in force.",
    "code_version": "Version of manystrides that built the warehouse.",
    "built_utc": "When it was built, ISO 8601, UTC.",
}


@dataclass(frozen=True)
class Built:
    """What was built: rows by table name; anew: from the Parquet files of all deliveries, and not from the old file.

    sha256: of the file.
    """

    path: Path
    rows: dict[str, int]
    anew: bool
    sha256: str


def build_warehouse(
    depot: Depot,
    study: LoadedStudy,
    code_version: str,
    results: Mapping[str, str],
    published: Mapping[str, Mapping[str, str]],
    *,
    anew: bool = False,
    readied: Readied | None = None,
    frozen: Sequence[Frozen] = (),
) -> Built:
    """Bring the warehouse up to date and swap it in. Whoever has the old one open keeps reading the old one.

    results: delivery -> a word that changes with its result; these deliveries are in, and no others. published:
    place -> file -> checksum, by which their files are proved before they are read. anew: make it from the Parquet
    files of all deliveries, whatever the old one holds. readied: what was begun before. frozen: every analysis plan
    that was frozen, the oldest first. Raises Unusable if a file is not what was published.
    """
    import duckdb

    wanted = published.get(keys.WAREHOUSE, {}).get(keys.WAREHOUSE)
    with (
        depot.working("warehouse") as work,  # gone when this fails: the new file may be what fills the disk
        Readied(depot) if readied is None else nullcontext(readied) as ready,
    ):
        new = work / keys.WAREHOUSE
        make = partial(_make, new, ready.beside, ProvedResults(depot, published), study, code_version, results, frozen)
        try:
            of_old = not anew and ready.take_old(wanted, new)  # of another file than was built nothing is used
            updated = make(of_old=True) if of_old else None
            rows = make(of_old=False) if updated is None else updated
        except duckdb.Error as error:
            refuse_disk_full(error, new)
            raise
        with new.open("rb") as stream, ThreadPoolExecutor(1) as beside:  # it is read while it is brought to the disk
            digest = beside.submit(hashlib.file_digest, stream, "sha256")
            depot.store.bring(new, keys.WAREHOUSE)
            sha256 = digest.result().hexdigest()
    told = logs.facts(deliveries=len(results), anew=updated is None, rows=sum((rows or {}).values()))
    log.info("The warehouse is up to date.", extra=told)
    return Built(depot.warehouse, rows or {}, updated is None, sha256)


def _make(
    new: Path,
    beside: Beside,
    proved: ProvedResults,
    study: LoadedStudy,
    code_version: str,
    results: Mapping[str, str],
    frozen: Sequence[Frozen],
    *,
    of_old: bool,
) -> dict[str, int] | None:
    """Make the file ``new``, of_old: of the copy of the old one that is there; rows by table. None if it cannot be."""
    import duckdb

    try:
        with closing(duckdb.connect(str(new), config=dict(DUCKDB_CONFIG))) as connection:
            delta = _delta(connection, code_version, results) if of_old else Delta(tuple(sorted(results)))
            if delta.all and len(results) > _FEW:
                beside.get_ready()
            connection.execute("BEGIN")
            if not of_old:
                _make_tables(connection)
            fill_from_study(connection, study)
            bring_in(connection, proved, delta)
            move_trial_values(connection)
            if not of_old:
                make_views(connection)
            tell_about(connection, study, code_version)
            analyses = partial(fill_analyses, connection, study, code_version, beside, frozen)
            fill_site_checks(connection, study.study, Stamp(code_version, study.version), beside, analyses)
            refuse_doubles(connection)
            made_from.note_results(connection, results, delta.all)
            made_from.note_inputs(connection, made_from.FORM, _form(code_version))
            connection.execute("COMMIT")
            rows = {t.name: _count(connection, t.name) for t in warehouse_tables()}
            connection.execute("CHECKPOINT")
            return rows
    except LostRows:
        pass
    except duckdb.Error as error:
        if not of_old or _disk_full(error):
            raise  # else the old file is damaged, or another version's: nothing of it is used
    _remove(new)
    return None


def _delta(connection: duckdb.DuckDBPyConnection, code_version: str, results: Mapping[str, str]) -> Delta:
    """What a copy of the old warehouse lacks. Raises LostRows if it is of no use."""
    if made_from.inputs_of(connection, made_from.FORM) != _form(code_version):
        raise LostRows("made by another code")
    before = made_from.results(connection)
    if lost := set(before) - set(results):
        raise LostRows(f"deliveries {', '.join(sorted(lost))}")
    new = tuple(sorted(set(results) - set(before)))
    return Delta(new, tuple(sorted(name for name, result in before.items() if results[name] != result)))


def _form(code_version: str) -> str:
    """What has to be the same for an old warehouse to be of use."""
    import duckdb

    return made_from.hashed(code_version, duckdb.__version__, *map(create_table_sql, warehouse_tables()))


def refuse_disk_full(error: duckdb.Error, path: Path) -> None:
    """Raises OSError, as of any other full disk, if that is what the database says by an error of any kind."""
    if _disk_full(error):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path)) from error


def _disk_full(error: duckdb.Error) -> bool:
    return os.strerror(errno.ENOSPC) in str(error)


def _remove(new: Path) -> None:
    for rest in (new, new.with_name(new.name + ".wal")):
        rest.unlink(missing_ok=True)


def _make_tables(connection: duckdb.DuckDBPyConnection) -> None:
    made_from.begin(connection)
    for table in warehouse_tables():
        connection.execute(create_table_sql(table))
        connection.execute(comment_sql(table))


def make_views(connection: duckdb.DuckDBPyConnection, present: Iterable[Table] = TABLES.values()) -> None:
    """The views over the tables. present: those that are there, with their columns."""
    for view in all_views(present):
        connection.execute(f"CREATE VIEW {quote_name(view.name)} AS {view.sql}")
        connection.execute(view_comment_sql(view.name, view.about, view.columns))


def tell_about(connection: duckdb.DuckDBPyConnection, study: LoadedStudy, code_version: str) -> None:
    """The view that says which study and code made the warehouse."""
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
    connection.execute(f"CREATE OR REPLACE VIEW about_this_warehouse AS SELECT {about}")
    connection.execute(
        view_comment_sql("about_this_warehouse", "One row: which study and code made this warehouse.", _ABOUT)
    )


def _count(connection: duckdb.DuckDBPyConnection, table: str) -> int:
    return int(connection.execute(f"SELECT count(*) FROM {quote_name(table)}").fetchall()[0][0])
