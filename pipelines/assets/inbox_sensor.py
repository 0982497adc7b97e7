"""The sensor that starts a run when something is due: one run for all of it."""

import hashlib
import time
from datetime import UTC, datetime

import dagster as dg

from pipelines.assets.graph import take_in_job
from pipelines.assets.place import DELIVERY_PARTITIONS, Place
from pipelines.taking_in.building import is_built
from pipelines.taking_in.due import what_is_due
from pipelines.versions import shown_version

#: Tag of a run: what was due when it was asked for, as one word.
STATE = "manystrides/due"
_PAUSE_S = 3600
_UNDER_WAY = [
    dg.DagsterRunStatus.QUEUED,
    dg.DagsterRunStatus.NOT_STARTED,
    dg.DagsterRunStatus.STARTING,
    dg.DagsterRunStatus.STARTED,
    dg.DagsterRunStatus.CANCELING,
]


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


@dg.sensor(job=take_in_job, minimum_interval_seconds=30)
def inbox_sensor(context: dg.SensorEvaluationContext, place: Place) -> dg.SensorResult | dg.SkipReason:
    """Ask the books what is due; the run itself asks again, so it does whatever is due by then.

    What is due still after a run that came to its end is tried again once an hour. A run that failed is not repeated:
    it waits for a yes, or for somebody who mends what is broken.
    """
    if context.instance.get_runs_count(dg.RunsFilter(statuses=_UNDER_WAY)):
        return dg.SkipReason("A run is under way; what is due then is asked afterwards.")
    with place.reading() as desk:
        due, built = what_is_due(desk, place.inbox_path), is_built(desk)
        withdrawals = [job.tombstone for job in desk.books.jobs.open() if job.due_utc <= _now()]
        state = (due.state, desk.books.deliveries.results(), desk.stamp, shown_version(), withdrawals)
    if built and not due and not withdrawals:
        return dg.SkipReason("Nothing is due.")
    there = set(context.instance.get_dynamic_partitions(str(DELIVERY_PARTITIONS.name)))
    new = [key for key in due.keys if key not in there]
    word = hashlib.sha256(repr(state).encode()).hexdigest()
    before = context.instance.get_runs(dg.RunsFilter(tags={STATE: word}), limit=1)
    if before and before[0].status is not dg.DagsterRunStatus.SUCCESS:
        return dg.SkipReason("The last run for what is due now failed. See why, then start it again by hand.")
    again = f"-{int(time.time() // _PAUSE_S)}" if before else ""  # a delivery that could not be worked on, or the pages
    return dg.SensorResult(
        run_requests=[dg.RunRequest(run_key=word + again, tags={STATE: word})],
        dynamic_partitions_requests=[DELIVERY_PARTITIONS.build_add_request(new)] if new else [],
    )
