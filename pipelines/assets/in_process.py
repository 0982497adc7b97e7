"""Carries the graph out in this process, at a bench that is open already."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dagster as dg
from dagster._core.errors import DagsterExecutionInterruptedError, DagsterMaxRetriesExceededError

from pipelines.assets.graph import ASSETS, CHECKS, FROZEN, MADE
from pipelines.errors import Unusable
from pipelines.taking_in.batch import Bench

#: Dagster's own log goes to its web page; here the summary tells what a person wants to know.
_QUIET: dict[str, Any] = {"loggers": {"console": {"config": {"log_level": "CRITICAL"}}}}

#: Without the step that shows how each check ended: it only shows, and here nobody would look.
_JOBS = [dg.define_asset_job("made", MADE), dg.define_asset_job("frozen", FROZEN)]


def carry_out(bench: Bench, freeze: Mapping[str, str | bool] | None = None) -> None:
    """Do all that is due. Raises what a step of it raised; a refusal to publish stands in the summary.

    freeze: what for, and whether openly; then a release is frozen as well.
    """
    graph = dg.Definitions(
        assets=[*ASSETS],
        asset_checks=[*CHECKS],
        jobs=[*_JOBS],
        resources={"bench": bench},
        executor=dg.in_process_executor,
    )
    job = graph.resolve_job_def("made" if freeze is None else "frozen")
    config = _QUIET if freeze is None else {**_QUIET, "ops": {"release": {"config": dict(freeze)}}}
    with dg.DagsterInstance.ephemeral() as instance:
        try:
            job.execute_in_process(instance=instance, run_config=config)
        except DagsterExecutionInterruptedError:
            raise KeyboardInterrupt from None
        except DagsterMaxRetriesExceededError:
            raise bench.summary.raised or RuntimeError("a step was tried again in vain") from None
        except dg.Failure as failure:
            if isinstance(failure.__cause__, Unusable):
                raise failure.__cause__ from None
            if bench.summary.refused is None:
                raise
