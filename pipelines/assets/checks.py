"""Our checks as Dagster asset checks, made from the registry: nothing is checked here, results are only shown."""

from __future__ import annotations

from collections import Counter

import dagster as dg
import pandas as pd

from checks.registry import Subject, Weight, catalogue
from pipelines.depot.books.rows import Record
from pipelines.depot.storage import Depot, read_table
from schemas import core, quality

_TABLE = {Subject.DELIVERY: core.DELIVERIES, Subject.READING: quality.STANDINGS, Subject.TRIAL: quality.STANDINGS}


def check_specs() -> list[dg.AssetCheckSpec]:
    """One asset check per check. None blocks: what goes on is decided trial by trial, by its standing."""
    return [one for about, table in _TABLE.items() for one in specs_about(about, table.name)]


def specs_about(about: Subject, asset: str) -> list[dg.AssetCheckSpec]:
    """An asset check on ``asset`` for each check about a subject."""
    return [
        dg.AssetCheckSpec(
            spec.name,
            asset=asset,
            description=f"{spec.sentence}\n\n{spec.why}",
            metadata={"weight": str(spec.weight), "topic": spec.topic},
        )
        for spec in catalogue().values()
        if spec.about is about
    ]


def severity_of(weight: str) -> dg.AssetCheckSeverity:
    """A note warns; everything heavier is an error."""
    return dg.AssetCheckSeverity.WARN if weight == Weight.NOTES else dg.AssetCheckSeverity.ERROR


def check_results(depot: Depot, record: Record) -> list[dg.AssetCheckResult]:
    """How each check ended on one delivery: how often it passed, found something, was skipped or crashed."""
    runs = read_table(depot.table_path(record.delivery_id, quality.CHECK_RUNS))
    return [result for about, table in _TABLE.items() for result in _results(about, table.name, runs)]


def whole_site_results(depot: Depot) -> list[dg.AssetCheckResult]:
    """How each check of whole sites ended, all sites together, as the warehouse tells."""
    from pipelines.pool.query import open_read_only

    with open_read_only(depot.warehouse) as connection:
        runs = connection.sql("SELECT * FROM check_runs WHERE delivery_id = 'site.' || subject").df()
    return _results(Subject.SITE, "warehouse", runs)


def _results(about: Subject, asset: str, runs: pd.DataFrame) -> list[dg.AssetCheckResult]:
    results = []
    for spec in (one for one in catalogue().values() if one.about is about):
        own = runs[runs["check_name"] == spec.name]
        ended = Counter(own["status"])
        crashed = ended["crashed"] > 0
        results.append(
            dg.AssetCheckResult(
                asset_key=dg.AssetKey(asset),
                check_name=spec.name,
                passed=not (ended["found"] or crashed),
                severity=dg.AssetCheckSeverity.ERROR if crashed else severity_of(spec.weight),
                description=_told(ended),
                metadata={
                    "findings": int(own["finding_count"].sum()),
                    "rows_examined": int(own["rows_examined"].sum()),
                },
            )
        )
    return results


def _told(ended: Counter[str]) -> str:
    """For example "12 pass, 1 found"; a check that never looked says so, since that is not a pass."""
    if not ended["pass"] and not ended["found"] and not ended["crashed"]:
        return (
            f"skipped: nothing to look at ({ended['skipped']} times)" if ended else "not run: the delivery was stopped"
        )
    return ", ".join(f"{ended[word]} {word}" for word in ("pass", "found", "skipped", "crashed") if ended[word])
