"""Judges one trial: read, map to study axes, outcomes, checks, signals to draw. Runs inside an isolated worker.

A job and a verdict are plain values that can be sent between processes. Nothing here knows of the depot, of other
trials, or decides what becomes of the trial; ``pipelines.standings`` does.
"""

from __future__ import annotations

import traceback
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from checks.registry import Subject
from checks.run import Context, Report, Stamp, run_checks
from schemas.reading import Reading
from schemas.study import SiteProfile, Study
from schemas.trial import Posture, Trial

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.intake.to_trial import TrialRow


@dataclass(frozen=True)
class TrialJob:
    """What judging one trial needs. path: the bytes in the raw store; row: what the tables say about the trial."""

    path: Path
    row: TrialRow
    delivery_id: str
    profile: SiteProfile
    study: Study
    stamp: Stamp
    posture: Posture | None = None


@dataclass(frozen=True)
class Verdict:
    """What was seen in one trial. ``facts``: measured columns of ``trials``; ``posture`` only of standing trials."""

    reading: Reading
    findings: list[dict[str, Any]] = field(default_factory=list)
    runs: list[dict[str, Any]] = field(default_factory=list)
    traces: list[dict[str, Any]] = field(default_factory=list)
    footfalls: pd.DataFrame | None = None
    trial_outcomes: dict[str, Any] | None = None
    facts: dict[str, Any] = field(default_factory=dict)
    posture: Posture | None = None

    def with_report(self, report: Report) -> Verdict:
        """The same with a report's rows added."""
        return replace(self, findings=self.findings + report.findings, runs=self.runs + report.runs)


def judge_trial(job: TrialJob) -> Verdict:
    """Judge one trial. A file that cannot be read, or a fault of our own, is a verdict too; never raises."""
    from pipelines.intake.c3d.reading import C3dProblem

    reading = Reading(job.row.trial_id, job.row.file)
    try:
        return _judged(job, reading)
    except C3dProblem as problem:
        return Verdict(replace(reading, problem=problem.problem, detail=problem.detail))
    except MemoryError:
        return Verdict(replace(reading, problem="too_large", detail="the memory limit was reached"))
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        broken = f"{type(error).__name__} in {Path(where.filename).name}, {where.name}, line {where.lineno}"
        told = f"manystrides itself failed, which is no fault of the file ({broken})"
        return Verdict(replace(reading, problem="crashed", detail=told), runs=[_crashed(job, broken)])


def _judged(job: TrialJob, reading: Reading) -> Verdict:
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.to_trial import posture_of, to_trial
    from pipelines.outcomes.footfalls import compute_footfalls
    from pipelines.outcomes.trial_outcomes import compute_trial_outcomes
    from pipelines.traces import traces_of

    processing = job.study.processing
    trial = to_trial(read_c3d(job.path), job.profile, processing, job.row)
    runs = trial.kind == "running"
    footfalls = compute_footfalls(trial, processing, job.posture) if runs else None
    context = Context(
        study=job.study,
        delivery_id=job.delivery_id,
        site=trial.site,
        reading=reading,
        trial=trial,
        footfalls=footfalls,
        posture=job.posture,
    )
    report = run_checks(Subject.TRIAL, context, job.stamp)
    return Verdict(
        reading,
        report.findings,
        report.runs,
        traces_of(report.findings, trial),
        footfalls,
        compute_trial_outcomes(trial, footfalls, processing, job.posture) if footfalls is not None else None,
        _facts(trial),
        posture_of(trial) if trial.kind == "standing" else None,
    )


def _crashed(job: TrialJob, reason: str) -> dict[str, Any]:
    """A check run that says our own code failed, so that the run ends with an error."""
    return {
        "delivery_id": job.delivery_id,
        "check_name": "trial_file_can_be_read",
        "subject": job.row.trial_id,
        "status": "crashed",
        "reason": reason,
        "rows_examined": 0,
        "finding_count": 1,
        **vars(job.stamp),
    }


def _facts(trial: Trial) -> dict[str, Any]:
    return {
        "duration_s": trial.duration_s,
        "marker_rate_hz": trial.marker_rate_hz,
        "analog_rate_hz": trial.analog_rate_hz,
        "plate_count": len(trial.plates),
    }
