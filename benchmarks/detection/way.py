"""The way a planted trial goes: written as the laboratory writes it, read, mapped, computed, checked. All the
pipeline's own functions; nothing is judged here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path

from benchmarks.detection.specimens import Specimen
from checks.context import Context
from checks.findings import Report, Stamp
from checks.registry import Subject, catalogue
from checks.run import run_checks, run_one
from demo_site_uploads.simulator.c3d_writer import c3d_bytes
from pipelines.intake.c3d.problem import C3dProblem
from pipelines.intake.sidecar import SidecarProblem
from pipelines.judging.judge import TrialJob, context_of, judge_trial, references_in
from pipelines.science.muscles.amplitudes import Reference
from pipelines.science.muscles.signal import Key
from schemas.reading import Reading
from schemas.trial import Posture

STAMP = Stamp("measured", "measured")


@cache
def folder() -> Path:
    """Where this process writes its files; each file takes the place of the one before."""
    own = tempfile.TemporaryDirectory(prefix="manystrides-detection-")
    _kept.append(own)
    return Path(own.name)


_kept: list[tempfile.TemporaryDirectory[str]] = []  # removed when the process ends


def job_of(specimen: Specimen, content: bytes | None = None) -> TrialJob:
    """The specimen written into files. content: an existing C3D file, instead of one written from the recording."""
    content = c3d_bytes(specimen.recording) if content is None else content
    content = specimen.after_writing(content) if specimen.after_writing else content
    path = folder() / "trial.c3d"
    path.write_bytes(content)
    second = None
    if specimen.second is not None:
        second = folder() / "trial.edf"
        second.write_bytes(specimen.second)
    return TrialJob(
        path,
        specimen.row,
        f"{specimen.row.site}-001",
        specimen.profile,
        specimen.study,
        STAMP,
        posture=specimen.posture,
        second_path=second,
        second_file=f"trials/{specimen.row.trial_id}.edf" if second else None,
        channel_rows=tuple(dict(row) for row in specimen.channel_rows),
    )


def seen_in(specimen: Specimen, check_name: str) -> Report:
    """What one check says of a specimen."""
    return run_one(catalogue()[check_name], shown_of(specimen, check_name), STAMP)


def shown_of(specimen: Specimen, check_name: str) -> Context:
    """What one check is shown of a specimen."""
    job = job_of(specimen)
    if catalogue()[check_name].about is Subject.READING:
        context = Context(study=specimen.study, delivery_id=job.delivery_id, site=specimen.row.site)
        return replace(context, reading=judge_trial(job).reading)
    return _context(job, specimen)


def everything_seen_in(specimen: Specimen, content: bytes | None = None) -> Report:
    """What all checks of a trial and of its reading say of a specimen."""
    job = job_of(specimen, content)
    verdict = judge_trial(replace(job, references=_references(job, specimen)))
    report = Report(list(verdict.findings), list(verdict.runs))
    context = Context(
        study=specimen.study, delivery_id=job.delivery_id, site=specimen.row.site, reading=verdict.reading
    )
    report.add(run_checks(Subject.READING, context, STAMP))
    return report


def _references(job: TrialJob, specimen: Specimen) -> Mapping[Key, Reference]:
    """What muscle amplitudes are divided by; nothing where a file cannot be read, which the verdict then says."""
    try:
        return _of_session(job, specimen)
    except (C3dProblem, SidecarProblem):
        return {}


def posture_in(standing: Specimen) -> Posture:
    """The posture that a standing specimen gives."""
    posture = judge_trial(job_of(standing)).posture
    assert posture is not None
    return posture


def _of_session(job: TrialJob, specimen: Specimen) -> Mapping[Key, Reference]:
    times = specimen.references_times
    return {key: replace(own, amplitude_uv=times * own.amplitude_uv) for key, own in references_in(job).items()}


def _context(job: TrialJob, specimen: Specimen) -> Context:
    references = _of_session(job, specimen) if job.row.kind == "running" else {}
    return context_of(replace(job, references=references), Reading(job.row.trial_id, job.row.file))
