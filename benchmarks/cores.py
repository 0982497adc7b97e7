"""How busy the cores are while trials are judged: many trials through the engine that those of a delivery go through.

What else a run does, opening deliveries, gating and publishing them, is part of ``benchmarks.demo``.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from benchmarks.measured import Part, Row
from benchmarks.trials import small_trials
from benchmarks.used import QUIET_SHARE, Moment, Watch
from pipelines.judging.judge import judge_trial
from pipelines.workers.engine import LocalEngine, Task
from pipelines.workers.isolation import Isolated

#: Enough that beginning and end, when not every worker has a trial, are a small part of it.
TRIALS = 240
LEAST_BUSY_PERCENT = 80.0
_NOTES = (
    "The treadmill and the runway trial of the first part, as often as it says, in the worker processes of a run, "
    "which are there already. Counted is the processor time of this process and of its workers.",
)
_BUSY = "Other work took {:.0%} of the cores, so that these could not be busy all the time: **not measured**."


def measured() -> Part:
    """What part of all cores judging uses."""
    cores = os.cpu_count() or 1
    since, until = _judged(cores)
    others = since.others_until(until)
    busy = 100 * since.busy_until(until)
    quiet = others <= QUIET_SHARE
    rows = [Row(f"{TRIALS} trials judged: processor time", until.own_s - since.own_s, "s")]
    if quiet:
        rows.append(Row(f"{TRIALS} trials judged: time on the clock", until.wall_s - since.wall_s, "s"))
        rows.append(Row(f"use of all {cores} cores meanwhile", busy, "%", LEAST_BUSY_PERCENT, at_least=True))
    return Part.of("How busy the cores are", [*_NOTES, *([] if quiet else [_BUSY.format(others)])], rows)


def _judged(cores: int) -> tuple[Moment, Moment]:
    """The moments before and after. RuntimeError if a trial is not judged to its end."""
    with TemporaryDirectory() as folder:
        jobs = [timed.job for timed in small_trials(Path(folder))]
        limits = jobs[0].study.trial_time_limit_s, jobs[0].study.trial_memory_limit_mb
        tasks = [
            Task(f"{n}", judge_trial, replace(job, delivery_id=f"{job.delivery_id}-{n}"))
            for n in range(TRIALS // len(jobs))
            for job in jobs
        ]
        tasks = [replace(task, key=f"{task.key} {place}") for place, task in enumerate(tasks)]
        with Isolated(cores, *limits) as isolated:
            engine, watch = LocalEngine(isolated), Watch(os.getsid(0))
            warm = [replace(task, key=f"before {task.key}") for task in tasks[: 8 * cores]]
            ended = [one for _, one in engine.results(warm)]
            since = watch.now()
            ended += [one for _, one in engine.results(tasks)]
            until = watch.stop()
    if told := [one.detail for one in ended if one.problem is not None or not one.value.outcomes]:
        raise RuntimeError(f"{len(told)} of {len(ended)} trials were not judged: {told[0]}")
    return since, until
