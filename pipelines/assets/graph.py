"""The graph a depot is run by, for one run as for a deployed Dagster: what a person would draw, and nothing else.

::

    received -> gated -> judged_trials -> delivery_tables -> depot -> warehouse -> site_checks -> pages -> withdrawals
                                                                                                  -> told

Up to its tables each delivery is a partition; from ``depot`` on, what all deliveries make together is made once per
run. One step does the first four, delivery by delivery in order, because a delivery is gated beside the results of
those before it, and is in the depot whole or not at all. So Dagster makes the four of a partition together; it refuses
one of them alone ("Backfill must include every key in a non-subsettable multi-asset"), which its server answers with
HTTP status 500. It could leave some out (``can_subset``) only by asking every run for partitions. The step says of each
delivery how far it came. What is built from all that the books know is not built again. ``release`` is made by a job of
its own, after all the others.

Deliveries of runners who withdrew are judged again first. Then ``taken_out`` removes their files, and ``withdrawals``
searches all that was built for their ids.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta

import dagster as dg

from checks.registry import Subject
from pipelines.assets.checks import checks_of_deliveries, results_about, specs_about, told_by_delivery, way_of
from pipelines.assets.place import DELIVERY_PARTITIONS
from pipelines.depot.keys import release as release_key
from pipelines.errors import Unusable, disk_full, is_disk_full
from pipelines.handing_over.telling import tell
from pipelines.taking_in import withdrawing
from pipelines.taking_in.batch import Bench, NotPublishedError, work_off
from pipelines.taking_in.building import build_pages_stage, build_warehouse_stage, is_built
from pipelines.taking_in.due import CONSENTS_CHANGED

PER_DELIVERY = {
    "received": "Opened, unpacked safely, checked against its checksums, separated from repeats.",
    "gated": "Checked as a whole; trials that consent does not cover are kept apart.",
    "judged_trials": "Each trial read in a worker process: outcomes, checks, and what becomes of it.",
    "delivery_tables": "Its tables as Parquet, in place in one step; which of them hold what, the books know.",
}
POOLED = ("taken_out", "depot", "warehouse", "site_checks", "pages", "withdrawals", "told")
_POOL = "depot"  # one writer
_TO_DO = "Nothing of it was changed. If this is what you want, run again with --yes; if not, take the change back."
_RETRIES = dg.RetryPolicy(max_retries=2, delay=5, backoff=dg.Backoff.EXPONENTIAL)


class TakeIn(dg.Config):
    """yes: publish although judging again would move many trials into or out of the pool.

    only_what_follows: from what people decided; what came, or was made with something else, is left for another run.
    """

    yes: bool = False
    only_what_follows: bool = False


def _specs() -> Iterator[dg.AssetSpec]:
    before: list[str] = []
    for name, about in PER_DELIVERY.items():
        yield dg.AssetSpec(
            name, deps=before, description=about, group_name="deliveries", partitions_def=DELIVERY_PARTITIONS
        )
        before = [name]


@dg.multi_asset(
    name="take_in_deliveries",
    specs=list(_specs()),
    backfill_policy=dg.BackfillPolicy.single_run(),
    pool=_POOL,
)
def take_in(
    context: dg.AssetExecutionContext, config: TakeIn, bench: dg.ResourceParam[Bench]
) -> Iterator[dg.MaterializeResult | dg.AssetMaterialization | dg.AssetCheckEvaluation]:
    """Judge again what is due, take in what came, then what follows; with partitions, those and what follows.

    How far each delivery came is told in its own partition. A run that was asked for partitions fails if one of them
    did not come through, so that Dagster shows that one as failed and the others as made.
    """
    asked = list(context.partition_keys) if context.has_partition_key or context.has_partition_key_range else None
    made: list[dg.AssetMaterialization] = []  # of partitions asked for, which Dagster tells itself if all came through
    not_through: list[str] = []
    left = set(asked or ())
    try:
        inbox = None if config.only_what_follows else bench.inbox
        for worked in work_off(replace(bench, yes=bench.yes or config.yes, inbox=inbox), asked):
            was_asked = asked is not None and worked.arrival in asked
            left.discard(worked.arrival)
            for event in way_of(bench.desk, worked):
                if was_asked and isinstance(event, dg.AssetMaterialization):
                    made.append(event)
                else:
                    yield event
            if was_asked and not worked.is_through:
                not_through.append(worked.arrival)
    except NotPublishedError as refused:
        bench.summary.refused = f"{refused}\n{_TO_DO}"
        raise dg.Failure(description=bench.summary.refused, allow_retries=False) from refused
    not_through += sorted(left)  # neither held nor in the inbox
    for event in made:
        if not_through:
            yield event
        else:
            context.add_asset_metadata(event.metadata, event.asset_key, event.partition)
    if not_through:
        told = f"These did not come through, the others did: {', '.join(not_through)}."
        raise dg.Failure(description=told, allow_retries=False)
    yield from (dg.MaterializeResult(asset_key=name) for name in PER_DELIVERY)


_AFTER_ALL_DELIVERIES = dg.AssetDep("delivery_tables", partition_mapping=dg.AllPartitionMapping())


@dg.asset(deps=[_AFTER_ALL_DELIVERIES], group_name="withdrawals", pool=_POOL)
def taken_out(bench: dg.ResourceParam[Bench]) -> dg.MaterializeResult:
    """Files of runners who withdrew, removed for good once no delivery holds them and their time of grace is over."""
    judged = [done.record.delivery_id for done in bench.summary.done if done.why.startswith(CONSENTS_CHANGED)]
    bench.summary.withdrawals = withdrawing.take_files_out(bench.desk, judged)
    return dg.MaterializeResult(metadata={"files": sum(one.files_removed for one in bench.summary.withdrawals)})


@dg.asset(deps=[_AFTER_ALL_DELIVERIES, "taken_out"], group_name="pooled", pool=_POOL)
def depot(bench: dg.ResourceParam[Bench]) -> dg.MaterializeResult:
    """All deliveries the depot holds, as the books know them."""
    return dg.MaterializeResult(metadata=dict(bench.desk.books.trials.standings()))


@contextmanager
def _not_tried_again(bench: Bench) -> Iterator[None]:
    """What a person must mend first, such as a damaged file or a full disk, is told as it is and not tried again."""
    try:
        yield
    except Exception as error:
        told = disk_full(error) if isinstance(error, OSError) and is_disk_full(error) else error
        if isinstance(told, Unusable):
            raise dg.Failure(description=str(told), allow_retries=False) from told
        bench.summary.raised = error  # all that is left of it after the last retry
        raise


@dg.multi_asset(
    name="build_warehouse",
    specs=[
        dg.AssetSpec(
            "warehouse",
            deps=["depot"],
            description="The DuckDB file that answers questions: newest accepted version of every trial, all sites.",
            group_name="pooled",
            kinds={"duckdb"},
            freshness_policy=dg.FreshnessPolicy.time_window(
                warn_window=timedelta(days=35), fail_window=timedelta(days=70)
            ),
        ),
        dg.AssetSpec(
            "site_checks",
            deps=["warehouse"],
            description="Checks of whole sites against each other and against their own past.",
            group_name="pooled",
        ),
    ],
    check_specs=specs_about(Subject.SITE, asset="site_checks"),
    pool=_POOL,
    retry_policy=_RETRIES,
)
def build_warehouse(bench: dg.ResourceParam[Bench]) -> Iterator[dg.MaterializeResult]:
    """One step makes both, since the warehouse is swapped in with them or not at all."""
    about: dict[str, dg.MetadataValue] = {"path": dg.MetadataValue.path(bench.desk.depot.warehouse)}
    if bench.rebuild or not is_built(bench.desk):
        bench.progress.say("building the warehouse")
        with _not_tried_again(bench):
            rows = build_warehouse_stage(bench.desk, anew=bench.rebuild, readied=bench.readied)
        counts = ["| table | rows |", "| --- | --- |", *(f"| {name} | {n} |" for name, n in rows.items())]
        about["rows"] = dg.MetadataValue.md("\n".join(counts))
    yield dg.MaterializeResult(asset_key="warehouse", metadata=about)
    results = list(results_about(bench.desk.depot, Subject.SITE, asset="site_checks"))
    yield dg.MaterializeResult(asset_key="site_checks", check_results=results)


@dg.asset(deps=["site_checks"], group_name="pooled", kinds={"html"}, pool=_POOL, retry_policy=_RETRIES)
def pages(bench: dg.ResourceParam[Bench]) -> dg.MaterializeResult:
    """Overview, a page per site, a fix sheet per returned trial; and what each laboratory may be told of it."""
    if bench.rebuild or not is_built(bench.desk):
        bench.progress.say("writing the pages")
        with _not_tried_again(bench):
            build_pages_stage(bench.desk, anew=bench.rebuild)
        bench.summary.built = True
    return dg.MaterializeResult(metadata={"path": dg.MetadataValue.path(bench.desk.depot.pages.shown())})


@dg.asset(deps=["pages"], group_name="withdrawals", pool=_POOL)
def withdrawals(bench: dg.ResourceParam[Bench]) -> dg.MaterializeResult:
    """Everything live searched for the ids of runners who withdrew; what was asked for is done then."""
    done = withdrawing.end(bench.desk, bench.summary.withdrawals, keeps_history=bench.keeps_history)
    bench.summary.withdrawals = done
    told = {"ended": sum(one.ended for one in done), "asked_for": len(done)}
    if left := bench.summary.left_for_a_yes:
        return dg.MaterializeResult(metadata={**told, "left_for_a_yes": "\n".join(left)})
    return dg.MaterializeResult(metadata=told)


@dg.asset(deps=["withdrawals"], group_name="pooled", pool=_POOL)
def told(bench: dg.ResourceParam[Bench]) -> dg.MaterializeResult:
    """Whoever the settings name, told of new results: ids of deliveries and counts. Nobody, if they name nobody."""
    bench.summary.not_told = tell(bench.desk)
    return dg.MaterializeResult(metadata={"could_not_be_told": len(bench.summary.not_told)})


class Freeze(dg.Config):
    """why: what the release is for; it stands in the ledger and in the release. openly: see ``release.make.freeze``."""

    why: str
    openly: bool = False


@dg.asset(deps=["pages", "withdrawals"], group_name="releases", pool=_POOL)
def release(config: Freeze, bench: dg.ResourceParam[Bench]) -> dg.MaterializeResult:
    """A frozen, numbered version of the pooled data; asked for by a person, with a reason."""
    from pipelines.release.make import freeze

    entry = freeze(bench.desk, config.why, openly=config.openly)
    path = dg.MetadataValue.path(bench.desk.depot.store.shown(release_key(entry.name)))
    return dg.MaterializeResult(metadata={"path": path, "number": entry.number})


#: What a run makes, with the checks that are made in the same step.
MADE = dg.AssetSelection.assets(*PER_DELIVERY, *POOLED).without_checks() | dg.AssetSelection.checks_for_assets(
    "site_checks"
)
#: The same, and a release of it.
FROZEN = MADE | dg.AssetSelection.assets("release")

take_in_job = dg.define_asset_job(
    "take_in",
    selection=MADE | dg.AssetSelection.checks(checks_of_deliveries),
    description="Does all that is due in one run, then builds warehouse and pages.",
)
release_job = dg.define_asset_job(
    "freeze_a_release", selection=FROZEN, description="Does all that is due in one run, then freezes the pooled data."
)
#: Of a run of the job below.
ONLY_WHAT_FOLLOWS = dg.RunConfig(ops={"take_in_deliveries": TakeIn(only_what_follows=True)})
withdrawals_job = dg.define_asset_job(
    "carry_out_withdrawals",
    selection=MADE,
    config=ONLY_WHAT_FOLLOWS,
    description="Does what runners who withdrew asked for, and nothing else that could stand in its way.",
)

ASSETS = (take_in, taken_out, depot, build_warehouse, pages, withdrawals, told, release)
CHECKS = (checks_of_deliveries, told_by_delivery)
JOBS = (take_in_job, withdrawals_job, release_job)
