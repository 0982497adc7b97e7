"""Carries the graph out in this process, at a bench that is open already."""

from __future__ import annotations

from typing import Any

import dagster as dg
from dagster._core.errors import DagsterExecutionInterruptedError

from pipelines.assets.graph import ASSETS, CHECKS, PER_DELIVERY, POOLED
from pipelines.assets.place import Place
from pipelines.taking_in.batch import Bench

#: Dagster's own log goes to its web page; here the summary tells what a person wants to know.
_QUIET: dict[str, Any] = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}

#: All that is made. How each check ended is told by a step of its own, which only shows; here nobody would look.
_MADE = dg.define_asset_job(
    "made",
    selection=dg.AssetSelection.assets(*PER_DELIVERY, *POOLED).without_checks()
    | dg.AssetSelection.checks_for_assets("site_checks"),
)


def carry_out(bench: Bench) -> None:
    """Do all that is due. Raises what a step of it raised; a refusal to publish stands in the summary."""
    desk = bench.desk
    place = Place(study=str(desk.study.path), inbox=str(bench.inbox), depot=str(desk.depot.root))
    graph = dg.Definitions(
        assets=[*ASSETS],
        asset_checks=[*CHECKS],
        jobs=[_MADE],
        resources={"place": place, "bench": bench},
        executor=dg.in_process_executor,
    )
    job = graph.resolve_job_def(_MADE.name)
    with dg.DagsterInstance.ephemeral() as instance:
        try:
            job.execute_in_process(instance=instance, run_config=_QUIET)
        except DagsterExecutionInterruptedError:
            raise KeyboardInterrupt from None
        except dg.Failure:
            if bench.summary.refused is None:
                raise
