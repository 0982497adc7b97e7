"""What becomes of one hostile file: each function here gives it to the code that reads such files, in a worker.

Returns "refused" when there is a problem or finding, "read" when there is a result, which must be a sane one; anything
raised is a crash. "Sane" is asserted here: whole arrays, finite where they say so, nothing outside the target folder.
"""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pipelines.judging.judge import TrialJob
    from schemas.study import Study

DEMO = Path(__file__).resolve().parents[2] / "demo_site_uploads"


def c3d(content: bytes, folder: Path, thorough: bool) -> str:
    """Read, plates and all; mapped to study axes; if ``thorough``, judged with outcomes and checks."""
    from pipelines.intake.c3d.identity import identity_like
    from pipelines.intake.c3d.problem import C3dProblem
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.plates import force_and_moment_in_lab
    from pipelines.intake.to_trial import to_trial
    from pipelines.intake.units import metres_per_unit

    path = folder / "mutant.c3d"
    path.write_bytes(content)
    job = _job(path)
    if thorough:
        verdict = _judged(job)
        if verdict:
            return verdict
    try:
        recording = read_c3d(path)
    except C3dProblem as problem:
        return _told(problem.detail)
    counts = recording.layout.counts
    assert recording.points.shape == (counts.frames, counts.points, 3)
    assert recording.valid.shape == (counts.frames, counts.points)
    assert recording.analog.size == counts.frames * counts.analog_per_frame
    assert recording.analog_limits.shape == (counts.channels, 2)
    assert np.isfinite(recording.points[recording.valid]).all()
    assert np.isnan(recording.points[~recording.valid]).all()
    assert 0 < recording.facts.point_rate_hz < 1e7
    assert 0 <= counts.left_over(len(content)) < len(content)
    identity_like(recording.layout)
    with np.errstate(all="ignore"):
        for spec in recording.plates:
            if not spec.problem and len(recording.analog):
                force_and_moment_in_lab(recording, spec, metres_per_unit(recording.layout.point_unit) or 1.0)
    try:
        to_trial(recording, job.profile, job.study.processing, job.row)
    except C3dProblem:
        return "refused"
    return "read"


def _told(sentence: str) -> str:
    assert sentence, "a refusal without a word"
    assert not sentence.endswith("."), sentence
    assert sentence.isprintable() or "\n" in sentence, repr(sentence)
    return "refused"


def _judged(job: TrialJob) -> str | None:
    from pipelines.judging.judge import judge_trial

    verdict = judge_trial(job)
    assert verdict.reading.problem != "crashed", verdict.reading.detail
    crashed = [run.reason for run in verdict.runs if run.status == "crashed"]
    assert not crashed, crashed
    return "refused" if verdict.reading.problem or verdict.findings else None


@cache
def _study() -> Study:
    from pipelines.study.file import load_study

    return load_study(DEMO / "study.yaml").study


def _job(path: Path) -> TrialJob:
    from checks.findings import Stamp
    from pipelines.intake.to_trial import TrialRow
    from pipelines.judging.judge import TrialJob

    study = _study()
    row = TrialRow("FS-01-1", "brack", "running", "cushioned", "treadmill", mass_kg=70.0, set_speed_m_per_s=3.0)
    return TrialJob(path, row, "brack-001", study.sites["brack"].profile, study, Stamp("0", "0"))


def csv(content: bytes, folder: Path, thorough: bool) -> str:
    """One table of a payload; ``content`` begins with its name and a null byte."""
    from pipelines.intake.tables import read_tables
    from schemas.catalogue import tables_of
    from schemas.convert.to_arrow import to_arrow_table
    from schemas.model import Layer

    name, _, body = content.partition(b"\0")
    (folder / name.decode()).write_bytes(body)
    tables, problems, _ = read_tables(folder)
    for table in tables_of(Layer.DELIVERY):
        assert list(tables[table.name].columns) == list(table.column_names)
    mine = [p for p in problems if p.file == name.decode()]
    if mine:
        return "refused"
    for table in tables_of(Layer.DELIVERY):
        if table.file_name == name.decode():
            to_arrow_table(table, tables[table.name])
    return "read"


def json(content: bytes, folder: Path, thorough: bool) -> str:
    """The data package's descriptor."""
    from pipelines.intake.descriptor import descriptor_problems

    (folder / "datapackage.json").write_bytes(content)
    return "refused" if list(descriptor_problems(folder)) else "read"


def zip(content: bytes, folder: Path, thorough: bool) -> str:
    """A delivery as an archive, unpacked and received. Nothing may appear beside the target."""
    from pipelines.intake.bag import receive

    inbox = folder / "inbox"
    inbox.mkdir()
    (inbox / "brack-001.zip").write_bytes(content)
    work = folder / "work"
    work.mkdir()
    received, payload = receive(inbox / "brack-001.zip", "brack", work, _study())
    assert sorted(p.name for p in folder.iterdir()) == ["inbox", "work"]
    assert {p.name for p in work.iterdir()} <= {"unpacked"}
    assert not any(p.is_symlink() for p in work.rglob("*"))
    assert sum(p.stat().st_size for p in work.rglob("*") if p.is_file()) < 1 << 30
    if payload is None:
        assert received.problems
    return "refused" if received.problems else "read"


def edf(content: bytes, folder: Path, thorough: bool) -> str:
    """A second file."""
    from pipelines.intake.sidecar import SidecarProblem, read_sidecar

    path = folder / "mutant.edf"
    path.write_bytes(content)
    try:
        sidecar = read_sidecar(path)
    except SidecarProblem as problem:
        return _told(problem.detail)
    assert sidecar.channels
    assert np.isfinite(sidecar.duration_s)
    for channel in sidecar.channels:
        assert np.isfinite(channel.samples).all()
        assert 2 * len(channel.samples) <= len(content)
    return "read"


def yaml(content: bytes, folder: Path, thorough: bool) -> str:
    """A study file, with sound profiles beside it."""
    import shutil

    from pipelines.errors import Unusable
    from pipelines.study.file import load_study

    shutil.copytree(DEMO / "sites", folder / "sites")
    (folder / "study.yaml").write_bytes(content)
    try:
        loaded = load_study(folder / "study.yaml")
    except Unusable as unusable:
        return _told(str(unusable).rstrip("."))
    assert loaded.study.sites is not None
    return "read"


TARGETS = {"c3d": c3d, "csv": csv, "json": json, "zip": zip, "edf": edf, "yaml": yaml}


def fate(target: str, content: bytes, thorough: bool) -> str:
    """What becomes of the file, in a folder of its own that is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="manystrides-attack-") as name:
        return TARGETS[target](content, Path(name), thorough)
