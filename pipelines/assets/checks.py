"""Our checks as Dagster asset checks: nothing is checked here, what the warehouse says of them is only shown.

Each check is one asset check over all deliveries the depot holds, so that what it found in one is not hidden by the
next. Dagster knows only passed and not passed: a check that had nothing to look at is not passed, as a warning, and
says that it was skipped. Of each delivery apart it is told, in its own partition, whether it could be taken in.
"""

import warnings
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

import dagster as dg

from checks.registry import CheckSpec, Subject, Weight, catalogue
from pipelines.assets.place import DELIVERY_PARTITIONS
from pipelines.depot.books.rows import STOPPED, TAKEN_IN
from pipelines.depot.desk import Desk
from pipelines.depot.published import read_result
from pipelines.depot.storage import Depot
from pipelines.taking_in.batch import Bench, Worked
from schemas import quality

TAKEN_IN_CHECK = "can_be_taken_in"
_MOST_LISTED = 20
_ENDS = ("pass", "found", "skipped", "crashed")
#: How often each check ended how, with findings and rows examined, delivery by delivery.
_SQL = """
SELECT check_name, delivery_id, status, count(*) AS times, sum(finding_count), sum(rows_examined)
FROM check_runs WHERE list_contains(?, check_name) GROUP BY ALL ORDER BY ALL
"""


@dataclass
class Ends:
    """How one check ended. found_in: delivery -> findings."""

    times: Counter[str] = field(default_factory=Counter)
    findings: int = 0
    examined: int = 0
    found_in: dict[str, int] = field(default_factory=dict)


def specs_about(*subjects: Subject, asset: str, after: str | None = None) -> list[dg.AssetCheckSpec]:
    """An asset check on ``asset`` for each check about the subjects. None blocks: trials are decided one by one."""
    return [
        dg.AssetCheckSpec(
            spec.name,
            asset=asset,
            additional_deps=[after] if after else None,
            description=f"{spec.sentence}\n\n{spec.why}",
            metadata={"weight": str(spec.weight), "topic": spec.topic},
        )
        for spec in catalogue().values()
        if spec.about in subjects
    ]


def severity_of(weight: str) -> dg.AssetCheckSeverity:
    """A note warns; everything heavier is an error."""
    return dg.AssetCheckSeverity.WARN if weight == Weight.NOTES else dg.AssetCheckSeverity.ERROR


def ends_of_checks(depot: Depot, names: Collection[str]) -> dict[str, Ends]:
    """Check -> how it ended, as the warehouse tells of everything the depot holds. names: of the checks asked about."""
    from pipelines.pool.query import open_read_only

    found: dict[str, Ends] = {}
    with open_read_only(depot.warehouse) as connection:
        for check, delivery, status, times, findings, examined in connection.execute(_SQL, [list(names)]).fetchall():
            ends = found.setdefault(check, Ends())
            ends.times[status] += times
            ends.findings += int(findings)
            ends.examined += int(examined)
            if findings:
                ends.found_in[delivery] = ends.found_in.get(delivery, 0) + int(findings)
    return found


def results_about(depot: Depot, *subjects: Subject, asset: str) -> Iterator[dg.AssetCheckResult]:
    """How the checks about the subjects ended."""
    specs = [spec for spec in catalogue().values() if spec.about in subjects]
    ends = ends_of_checks(depot, [spec.name for spec in specs])
    for spec in specs:
        yield result_of(spec, ends.get(spec.name, Ends()), asset)


def result_of(spec: CheckSpec, ends: Ends, asset: str) -> dg.AssetCheckResult:
    """Passed only if it looked somewhere and found nothing anywhere."""
    crashed, found, looked = ends.times["crashed"] > 0, ends.times["found"] > 0, ends.times["pass"] > 0
    severity = severity_of(spec.weight) if found else dg.AssetCheckSeverity.WARN
    listed = dict(list(ends.found_in.items())[:_MOST_LISTED])
    return dg.AssetCheckResult(
        asset_key=dg.AssetKey(asset),
        check_name=spec.name,
        passed=looked and not found and not crashed,
        severity=dg.AssetCheckSeverity.ERROR if crashed else severity,
        description=_told(ends.times),
        metadata={"findings": ends.findings, "rows_examined": ends.examined, "found_in": listed},
    )


def _told(times: Counter[str]) -> str:
    """For example "12 pass, 1 found"; of a check that never looked that it was skipped, which is not a pass."""
    if not (times["pass"] or times["found"] or times["crashed"]):
        return f"skipped: nothing to look at ({times['skipped']} times)" if times else "skipped: it never ran"
    return ", ".join(f"{times[word]} {word}" for word in _ENDS if times[word])


@dg.multi_asset_check(
    name="checks_of_deliveries",
    specs=specs_about(Subject.DELIVERY, Subject.READING, Subject.TRIAL, asset="depot", after="warehouse"),
    description="How each check of deliveries and trials ended, over all deliveries the depot holds.",
)
def checks_of_deliveries(bench: dg.ResourceParam[Bench]) -> Iterator[dg.AssetCheckResult]:
    """Read from the warehouse."""
    yield from results_about(bench.desk.depot, Subject.DELIVERY, Subject.READING, Subject.TRIAL, asset="depot")


def _spec_of_one_delivery() -> dg.AssetCheckSpec:
    with warnings.catch_warnings():  # Dagster may still change this; the lock file holds it
        warnings.simplefilter("ignore", dg.PreviewWarning)
        return dg.AssetCheckSpec(
            TAKEN_IN_CHECK,
            asset="gated",
            description="The delivery was not stopped, and the work on it came to its end.",
            partitions_def=DELIVERY_PARTITIONS,
        )


@dg.multi_asset_check(name="taken_in", specs=[_spec_of_one_delivery()], can_subset=True)
def told_by_delivery(bench: dg.ResourceParam[Bench]) -> Iterator[dg.AssetCheckResult]:
    """Never part of a run: it is told delivery by delivery where deliveries are taken in."""
    yield from ()


def way_of(desk: Desk, worked: Worked) -> Iterator[dg.AssetMaterialization | dg.AssetCheckEvaluation]:
    """How far a delivery came, in its own partition: nothing is made of one that failed or was stopped."""
    record, key = worked.record, worked.arrival
    if worked.failure is not None:
        # only its kind: the words of an error could name a runner, and Dagster keeps what it is told
        kind = worked.failure.text.partition(":")[0] if worked.failure.ours else "something given cannot be used"
        yield _taken_in(key, passed=False, told=f"The work on it did not come to its end ({kind}).")
        return
    if record is None:
        return
    about = {"delivery": f"{record.delivery_id}: {record.status}", "why": worked.why}
    yield dg.AssetMaterialization("received", partition=key, metadata=about)
    if record.status == STOPPED:
        findings = read_result(desk.depot, record.delivery_id, quality.FINDINGS)
        seen = findings.loc[findings["weight"] == "stops", "seen"].tolist()
        yield _taken_in(key, passed=False, told="Stopped, nothing of it is used. " + " ".join(seen[:_MOST_LISTED]))
    elif record.status == TAKEN_IN:
        standings = Counter(trial.standing for trial in desk.books.trials.of_delivery(record.delivery_id))
        yield _taken_in(key, passed=True, told="Taken in.")
        for asset in ("gated", "judged_trials", "delivery_tables"):
            yield dg.AssetMaterialization(asset, partition=key, metadata={**about, **standings})


def _taken_in(key: str, *, passed: bool, told: str) -> dg.AssetCheckEvaluation:
    """Not blocking: that one delivery was stopped must not end the work on the others."""
    return dg.AssetCheckEvaluation(
        asset_key=dg.AssetKey("gated"),
        check_name=TAKEN_IN_CHECK,
        passed=passed,
        metadata={},
        severity=dg.AssetCheckSeverity.ERROR,
        description=told,
        partition=key,
    )
