"""The sensor that starts a run when something is due: one run for all of it."""

import hashlib
import time

import dagster as dg

from pipelines.assets.graph import ONLY_WHAT_FOLLOWS, take_in_job, withdrawals_job
from pipelines.assets.partitions import known_partitions, make_known
from pipelines.assets.place import DELIVERY_PARTITIONS, Place
from pipelines.taking_in.building import is_built
from pipelines.taking_in.due import what_is_due
from pipelines.taking_in.withdrawing import any_left, now
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


@dg.sensor(jobs=[take_in_job, withdrawals_job], minimum_interval_seconds=30)
def inbox_sensor(context: dg.SensorEvaluationContext, place: Place) -> dg.SensorResult | dg.SkipReason:
    """Ask the books what is due; the run itself asks again, so it does whatever is due by then.

    Deliveries that a command took in become partitions, too.

    Withdrawals are carried out first, by a run that nothing else can refuse. What is due still after a run that came to
    its end is tried again once an hour. A run that failed is not repeated: it waits for a yes, or for somebody who
    mends what is broken; only a withdrawal is tried again then.
    """
    if context.instance.get_runs_count(dg.RunsFilter(statuses=_UNDER_WAY)):
        return dg.SkipReason("A run is under way; what is due then is asked afterwards.")
    with place.reading() as desk:
        make_known(context.instance, desk)
        due, built, left = what_is_due(desk, place.inbox_path), is_built(desk), any_left(desk)
        asked_for = [(job.tombstone, job.due_utc, job.due_utc <= now()) for job in desk.books.jobs.open()]
        state = (due.state, desk.books.deliveries.results(), desk.stamp, shown_version())
    if left and (request := _withdrawals(context, _word((asked_for, state[2:])))) is not None:
        return dg.SensorResult(run_requests=[request])
    if built and not due:
        return dg.SkipReason("Nothing is due.")
    there = known_partitions(context.instance)
    new = [key for key in due.keys if key not in there]
    word = _word(state)
    before = _last(context, word)
    if before is not None and before is not dg.DagsterRunStatus.SUCCESS:
        return dg.SkipReason("The last run for what is due now failed. See why, then start it again by hand.")
    again = _this_hour() if before else ""  # a delivery that could not be worked on, or the pages
    return dg.SensorResult(
        run_requests=[dg.RunRequest(run_key=word + again, job_name=take_in_job.name, tags={STATE: word})],
        dynamic_partitions_requests=[DELIVERY_PARTITIONS.build_add_request(new)] if new else [],
    )


def _withdrawals(context: dg.SensorEvaluationContext, word: str) -> dg.RunRequest | None:
    """The run that carries withdrawals out, unless it did: what is left then waits for a command, with the history."""
    before = _last(context, word)
    if before is dg.DagsterRunStatus.SUCCESS:
        return None
    key = word + (_this_hour() if before else "")
    # said here, too: a run that a sensor asks for does not have its job's own
    return dg.RunRequest(run_key=key, run_config=ONLY_WHAT_FOLLOWS, job_name=withdrawals_job.name, tags={STATE: word})


def _last(context: dg.SensorEvaluationContext, word: str) -> dg.DagsterRunStatus | None:
    """How the last run ended that was asked for with this word; None if there was none."""
    runs = context.instance.get_runs(dg.RunsFilter(tags={STATE: word}), limit=1)
    return runs[0].status if runs else None


def _word(state: object) -> str:
    return hashlib.sha256(repr(state).encode()).hexdigest()


def _this_hour() -> str:
    return f"-{int(time.time() // _PAUSE_S)}"
