"""What Dagster loads: the graph, its jobs and its sensor.

Paths come from the environment; ``manystrides dev`` sets it."""

from __future__ import annotations

from pipelines import telemetry

telemetry.switch_off()

import os  # noqa: E402

import dagster as dg  # noqa: E402

from pipelines.assets.graph import ASSETS, CHECKS, JOBS  # noqa: E402
from pipelines.assets.inbox_sensor import inbox_sensor  # noqa: E402
from pipelines.assets.place import Place, opened_bench  # noqa: E402

place = Place(
    study=os.environ.get("MANYSTRIDES_STUDY", "demo_site_uploads/study.yaml"),
    inbox=os.environ.get("MANYSTRIDES_INBOX", "demo_site_uploads/inbox"),
    depot=os.environ.get("MANYSTRIDES_DEPOT", "depot"),
)

defs = dg.Definitions(
    assets=[*ASSETS],
    asset_checks=[*CHECKS],
    jobs=[*JOBS],
    sensors=[inbox_sensor],
    resources={"place": place, "bench": opened_bench},
    executor=dg.in_process_executor,  # steps of one run follow each other anyway; trials have their own workers
)
