"""Runs the checks of whole sites while the warehouse is built, and keeps findings, runs, expectations and charts in it.

They need all sites at once, so no delivery can hold them: their rows stand under a name of their own, ``site.corrie``.
Importing Great Expectations costs seconds, so they are run only if something that they look at has changed, and by a
process beside, which imports it while tables are filled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from checks.context import Context
from checks.findings import Report, Stamp, rows_of
from checks.registry import Subject
from checks.run import run_checks
from pipelines.pool import made_from
from pipelines.pool.beside import Beside
from pipelines.pool.site_tables import LOOKED_AT, control_points, pooled_tables
from schemas import quality
from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_duckdb import quote_name
from schemas.model import Table
from schemas.study import Study

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


def site_rows_id(site: str) -> str:
    """What stands for a delivery in rows about a whole site; no delivery can be called so."""
    return f"site.{site}"


def check_sites(study: Study, pool: dict[str, pd.DataFrame], stamp: Stamp) -> dict[str, Report]:
    """Site -> what every check of whole sites saw."""
    return {
        site: run_checks(Subject.SITE, Context(study, site_rows_id(site), site, outcomes=pool), stamp)
        for site in study.sites
    }


def _check_sites(argument: tuple[Study, dict[str, pd.DataFrame], Stamp]) -> dict[str, Report]:
    return check_sites(*argument)


def fill_site_checks(
    connection: duckdb.DuckDBPyConnection,
    study: Study,
    stamp: Stamp,
    beside: Beside,
    meanwhile: Callable[[], None] = lambda: None,
) -> None:
    """Check every site of the study and keep what came of it, if what the checks look at has changed.

    The views must be there. meanwhile: called once, while the checks run beside or if there is nothing to check.
    """
    content = made_from.content_of(connection, LOOKED_AT)
    inputs = made_from.hashed(content, study.model_dump_json(), stamp.code_version)
    if inputs == made_from.inputs_of(connection, "site_checks"):
        meanwhile()
        return
    pool = pooled_tables(connection, study.processing.contrasts.speeds)
    seen = beside.begin(_check_sites, (study, pool, stamp))
    meanwhile()
    reports = seen()
    for table in (quality.FINDINGS, quality.CHECK_RUNS):
        connection.execute(f"DELETE FROM {quote_name(table.name)} WHERE starts_with(delivery_id, 'site.')")
    for table in (quality.SITE_EXPECTATIONS, quality.SITE_CONTROL_POINTS):
        connection.execute(f"DELETE FROM {quote_name(table.name)}")
    _insert(connection, quality.FINDINGS, rows_of(f for report in reports.values() for f in report.findings))
    _insert(connection, quality.CHECK_RUNS, rows_of(r for report in reports.values() for r in report.runs))
    _insert(connection, quality.SITE_EXPECTATIONS, list(expectation_rows(reports, stamp)))
    points = control_points(pool["device_sessions"]).assign(**vars(stamp))
    _insert(connection, quality.SITE_CONTROL_POINTS, points[list(quality.SITE_CONTROL_POINTS.column_names)])
    made_from.note_inputs(connection, "site_checks", inputs)


def expectation_rows(reports: dict[str, Report], stamp: Stamp) -> Iterable[dict[str, Any]]:
    """Rows of ``site_expectations``."""
    from checks.site.expectations import engine_version

    for site, report in reports.items():
        numbers: dict[str, int] = {}
        for check_name, answer in report.evidence:
            numbers[check_name] = numbers.get(check_name, 0) + 1
            usual = answer.expected.about
            observed = answer.observed if answer.observed is not None else len(answer.unexpected)
            yield {
                "site": site,
                "check_name": check_name,
                "expectation_number": numbers[check_name],
                "expectation_kind": answer.expected.kind,
                "measured": usual.get("measured", answer.expected.column),
                "visit": usual.get("visit"),
                "condition": usual.get("condition"),
                "at_speed": usual.get("at_speed"),
                "lower_value": usual.get("lower"),
                "upper_value": usual.get("upper"),
                "observed_value": float(observed),
                "unit_code": usual.get("unit", ""),
                "is_met": answer.met,
                "answer_json": answer.said,
                "engine_version": engine_version(),
                **vars(stamp),
            }


def _insert(connection: duckdb.DuckDBPyConnection, table: Table, rows: Any) -> None:
    connection.register("rows", to_arrow_table(table, rows))
    connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT * FROM rows")
    connection.unregister("rows")
