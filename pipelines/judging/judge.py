"""Judges one trial: read, map to study axes, outcomes, checks, pictures. Runs inside an isolated worker.

A job and a verdict are plain values that can be sent between processes. Nothing here knows of the depot, of other
trials, or decides what becomes of the trial; ``pipelines.judging.standings`` does.
"""

from __future__ import annotations

import traceback
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from checks.context import Context
from checks.findings import CheckRun, Finding, Report, Stamp, Status
from checks.registry import Subject
from checks.run import run_checks
from pipelines.identity.identifiers import NOBODY
from pipelines.identity.names import KnownNames
from schemas.reading import ChannelFacts, Held, Identifying, Reading
from schemas.study import SiteProfile, Study
from schemas.trial import Channel, Posture, Trial

if TYPE_CHECKING:
    from pipelines.intake.clocks import ClockFit, NoClock
    from pipelines.intake.to_trial import TrialRow
    from pipelines.science.frames import Rows
    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key
    from pipelines.science.workspace import Workspace


@dataclass(frozen=True)
class TrialJob:
    """What judging one trial needs. path: its bytes; row: what the tables say about the trial.

    second_path, second_sha256, channel_rows: the file recorded beside it, its checksum, and what ``channels.csv`` says
    of both files' channels.
    references: what muscle amplitudes of the session are divided by. known: names of people to look for.
    """

    path: Path
    row: TrialRow
    delivery_id: str
    profile: SiteProfile
    study: Study
    stamp: Stamp
    posture: Posture | None = None
    second_path: Path | None = None
    second_file: str | None = None
    second_sha256: str | None = None
    channel_rows: tuple[dict[str, Any], ...] = ()
    references: Mapping[Key, Reference] = field(default_factory=dict)
    known: KnownNames = NOBODY


@dataclass(frozen=True)
class Verdict:
    """What was seen in one trial. ``facts``: measured columns of ``trials``; ``posture`` only of standing trials.

    ``unexplained``: channels in its files of which no row says what they are. ``held``: texts in its files that a
    person must look at.
    """

    reading: Reading
    findings: list[Finding] = field(default_factory=list)
    runs: list[CheckRun] = field(default_factory=list)
    pictures: list[dict[str, Any]] = field(default_factory=list)
    outcomes: dict[str, Rows] = field(default_factory=dict)  # table name -> rows less provenance
    facts: dict[str, Any] = field(default_factory=dict)
    posture: Posture | None = None
    unexplained: int = 0
    held: tuple[Held, ...] = ()

    def with_report(self, report: Report) -> Verdict:
        """The same with a report's rows added."""
        return replace(self, findings=self.findings + report.findings, runs=self.runs + report.runs)


def judge_trial(job: TrialJob) -> Verdict:
    """Judge one trial. A file that cannot be read, or a fault of our own, is a verdict too; never raises."""
    reading = Reading(job.row.trial_id, job.row.file)
    try:
        telling, held = _texts(job)
        if telling:  # nothing is derived from a file that tells who was recorded
            return Verdict(replace(reading, identifying=telling), held=held)
        return replace(_read_and_judged(job, reading), held=held)
    except MemoryError:
        return Verdict(replace(reading, problem="too_large", detail="the memory limit was reached"))
    except Exception as error:
        return _broken(job, reading, error)


def _read_and_judged(job: TrialJob, reading: Reading) -> Verdict:
    """The verdict on files that tell of nobody; that they cannot be read is one, too."""
    from pipelines.intake.c3d.reading import C3dProblem
    from pipelines.intake.sidecar import SidecarProblem

    try:
        return _judged(job, reading)
    except C3dProblem as problem:
        return Verdict(replace(reading, problem=problem.problem, detail=problem.detail))
    except SidecarProblem as problem:
        file = job.second_file or reading.file
        return Verdict(replace(reading, file=file, problem=problem.problem, detail=problem.detail))


def _broken(job: TrialJob, reading: Reading, error: Exception) -> Verdict:
    where = traceback.extract_tb(error.__traceback__)[-1]
    broken = f"{type(error).__name__} in {Path(where.filename).name}, {where.name}, line {where.lineno}"
    told = f"manystrides itself failed, which is no fault of the file ({broken})"
    return Verdict(replace(reading, problem="crashed", detail=told), runs=[_crashed(job, broken)])


def references_in(job: TrialJob) -> Mapping[Key, Reference]:
    """What one reference recording gives to divide muscle amplitudes by. Raises what reading raises."""
    from checks.self_description.agreement import contradicts_itself
    from pipelines.science.muscles.amplitudes import references_of

    if _texts(job)[0]:
        return {}
    work, channels = workspace_of(replace(job, posture=None))
    if channels.unit_conflicts or contradicts_itself(work.trial, job.study, channels):
        return {}  # the trial will go back; a reference a thousand times off must not outlive it
    footfalls = work.footfalls if work.trial.kind == "running" else None
    return references_of([(work.trial.signals, footfalls)], job.study.processing.muscle)


def _texts(job: TrialJob) -> tuple[tuple[Identifying, ...], tuple[Held, ...]]:
    """Where texts of the trial's files may identify a person, and texts that a person must look at."""
    from pipelines.identity.vocabulary import Vocabulary
    from pipelines.intake.identifying import texts_in

    ids = (job.row.trial_id, job.row.session_id, job.row.participant_id)
    plain = Vocabulary.of(job.study).knowing(str(one) for one in ids if one)
    telling, held = texts_in(job.path, job.row.file, job.known, plain)
    if job.second_path is not None:
        more, others = texts_in(job.second_path, job.second_file or job.row.file, job.known, plain)
        telling, held = telling + more, held + others
    return telling, held


def _read(job: TrialJob) -> tuple[Trial, ClockFit | NoClock | None, ChannelFacts]:
    """The trial with its signals on one clock. Raises C3dProblem or SidecarProblem."""
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.clocks import NoClock
    from pipelines.intake.sidecar import read_sidecar
    from pipelines.intake.sidecar_clock import with_signals
    from pipelines.intake.to_trial import to_trial

    processing = job.study.processing_at(job.row.site)
    trial = to_trial(read_c3d(job.path), job.profile, processing, job.row)
    channels = trial.channels
    sidecar = read_sidecar(job.second_path) if job.second_path is not None else None
    trial, clock, found = with_signals(trial, sidecar, job.channel_rows, processing)
    facts = ChannelFacts(
        named_count=len(job.channel_rows),
        missing=found.missing,
        unit_conflicts=found.unit_conflicts,
        second_file=job.second_file,
        clock_problem=clock.reason if isinstance(clock, NoClock) else None,
        clock_events=clock.events if isinstance(clock, NoClock) else (),
        clock_event_count=clock.event_count if clock is not None and not isinstance(clock, NoClock) else 0,
        second=sidecar.says if sidecar is not None else None,
        labels=tuple(str(row.get("label")) for row in job.channel_rows),
        unexplained=_unexplained(job, (*channels, *(sidecar.channels if sidecar is not None else ()))),
    )
    return trial, clock, facts


def _unexplained(job: TrialJob, channels: Iterable[Channel]) -> int:
    """How many channels of the trial's files no row names that the job was given."""
    named = {str(row.get("label")).strip().casefold() for row in job.channel_rows}
    return sum(channel.label.strip().casefold() not in named for channel in channels)


def workspace_of(job: TrialJob) -> tuple[Workspace, ChannelFacts]:
    """The trial read and mapped, with all that can be worked out from it. Raises C3dProblem or SidecarProblem."""
    from pipelines.intake.sidecar_clock import clock_row
    from pipelines.science.joints.clusters import with_carried
    from pipelines.science.workspace import Workspace

    trial, clock, channels = _read(job)
    trial = with_carried(trial, job.posture, job.profile.clusters)
    row = clock_row(trial.trial_id, clock) if clock is not None else None
    processing = job.study.processing_at(trial.site)
    return Workspace(trial, processing, job.posture, job.references, row, job.study.muscle_phases()), channels


def context_of(job: TrialJob, reading: Reading) -> Context:
    """What the checks of one trial are shown. Raises C3dProblem or SidecarProblem."""
    work, channels = workspace_of(job)
    return Context(job.study, job.delivery_id, work.trial.site, reading=reading, work=work, channels=channels)


def _judged(job: TrialJob, reading: Reading) -> Verdict:
    from pipelines.intake.to_trial import posture_of
    from pipelines.judging.pictures import pictures_of

    context = context_of(job, reading)
    work = context.work
    assert work is not None
    trial = work.trial
    outcomes = work.outcomes()
    report = run_checks(Subject.TRIAL, context, job.stamp)
    return Verdict(
        reading,
        [replace(finding, shows=None) if finding.shows else finding for finding in report.findings],
        report.runs,
        pictures_of(report.findings, work),
        outcomes,
        _facts(trial),
        posture_of(trial) if trial.kind == "standing" else None,
        context.channels.unexplained if context.channels is not None else 0,
    )


def _crashed(job: TrialJob, reason: str) -> CheckRun:
    """A check run that says our own code failed, so that the run ends with an error."""
    return CheckRun(
        delivery_id=job.delivery_id,
        check_name="trial_file_can_be_read",
        subject=job.row.trial_id,
        status=Status.CRASHED,
        reason=reason,
        rows_examined=0,
        finding_count=1,
        code_version=job.stamp.code_version,
        study_version=job.stamp.study_version,
    )


def _facts(trial: Trial) -> dict[str, Any]:
    return {
        "duration_s": trial.duration_s,
        "marker_rate_hz": trial.marker_rate_hz,
        "analog_rate_hz": trial.analog_rate_hz,
        "plate_count": len(trial.plates),
    }
