"""What Dagster loads: assets, checks, job and sensor. Paths come from the environment; ``manystrides dev`` sets it."""

from __future__ import annotations

from pipelines import telemetry

telemetry.switch_off()

import os  # noqa: E402

import dagster as dg  # noqa: E402

from pipelines.assets.deliveries import delivery_tables  # noqa: E402
from pipelines.assets.inbox_sensor import inbox_sensor, take_in_job  # noqa: E402
from pipelines.assets.place import Place  # noqa: E402
from pipelines.assets.pooled import pages, warehouse  # noqa: E402

place = Place(
    study=os.environ.get("MANYSTRIDES_STUDY", "demo_site_uploads/study.yaml"),
    inbox=os.environ.get("MANYSTRIDES_INBOX", "demo_site_uploads/inbox"),
    depot=os.environ.get("MANYSTRIDES_DEPOT", "depot"),
)

defs = dg.Definitions(
    assets=[delivery_tables, warehouse, pages],
    jobs=[take_in_job],
    sensors=[inbox_sensor],
    resources={"place": place},
    executor=dg.in_process_executor,  # steps of one run follow each other anyway; trials have their own workers
)
