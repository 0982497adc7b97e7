"""What one trial costs to judge, beside the usual library only reading it and beside a plain script for its outcomes.

The plain script's numbers are held against ours before anything is timed, so that the same is compared.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

import ezc3d
import numpy as np
import pandas as pd
import scipy.signal
from scipy.signal import sosfilt

from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import job_of
from benchmarks.measured import Part, Row
from benchmarks.plain_script import Person, everything
from benchmarks.real_recordings.recordings import there, treadmill
from benchmarks.timing import milliseconds, ratios_of
from checks.findings import Stamp
from demo_site_uploads.simulator.labs import lab, record
from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.identifying import identifying_in
from pipelines.intake.to_trial import TrialRow, turn_of
from pipelines.judging.judge import TrialJob, judge_trial, references_in, workspace_of
from pipelines.science.muscles.signal import MICROVOLTS
from pipelines.science.workspace import Workspace
from pipelines.study.file import load_study

DEMO = Path(__file__).resolve().parents[1] / "demo_site_uploads"
#: Of the larger of 1 and the value: sums are taken in another order. Angles through arctan and polyfit lose more.
TOLERANCE = 1e-7
GOALS = {"ezc3d": {"small": 5.0, "30 s": 2.0}, "plain": {"small": 1.0, "30 s": 1.0}}
TABLES = ("footfalls", "footfall_joints", "muscle_amplitudes", "muscle_bursts", "co_contractions", "curves")
SECONDS = 30
NOTES = (
    "Judged: read, looked through for texts that name people, mapped to the study's axes, every outcome computed, and "
    "every check of a trial run on it, in one worker with one thread. Reading is the smallest part of it.",
    "ezc3d reads and does nothing else. What the plain script's tables alone cost, by either code, without an "
    "uncertainty, a look for copies or a check, stands beside it: where that is above an aim, or takes most of it, the "
    "aim cannot be reached by judging less slowly, but only by judging less.",
    "The plain script (benchmarks/plain_script.py) gives the same outcomes and checks nothing.",
)


@dataclass(frozen=True)
class Timed:
    """One trial to be judged, and how it is called."""

    name: str
    size: str  # a key of GOALS
    job: TrialJob


def measured() -> Part:
    """Every trial's ratios, all of one trial's taken in turn in the same rounds, and where judging goes."""
    title, notes = "What one trial costs", [*NOTES]
    with TemporaryDirectory() as folder:
        rows = [row for timed in _trials(Path(folder)) for row in _rows_of(timed, notes)]
    if there():
        rows += _real_rows(treadmill().job)
        notes.append("The real trial has gaps, which the plain script cannot fill; it has no muscles.")
    return Part.of(title, notes, rows)


def _real_rows(job: TrialJob) -> Iterator[Row]:
    """A real recording of 30 s, where it is on this machine."""
    (judging,) = ratios_of(lambda: ezc3d.c3d(str(job.path)), [lambda: judge_trial(job)])
    name = "real treadmill for 30 s"
    yield Row(f"{name}: judged / ezc3d reading it", judging, "times", GOALS["ezc3d"]["30 s"])
    yield Row(f"{name}: ezc3d reading it", milliseconds(lambda: ezc3d.c3d(str(job.path))), "ms")
    for what, taken in _where_it_goes(job).items():
        yield Row(f"{name}: {what}", taken, "ms")


def _rows_of(timed: Timed, notes: list[str]) -> Iterator[Row]:
    job, path, name = timed.job, timed.job.path, timed.name
    notes.append(f"{name[0].upper()}{name[1:]} ({path.stat().st_size / 1e3:.0f} kB): {_agreement(job)}.")
    calls = [lambda: judge_trial(job), lambda: _plain(job), lambda: _floor(job)]
    judging, plain, floor = ratios_of(lambda: ezc3d.c3d(str(path)), calls)
    yield Row(f"{name}: judged / ezc3d reading it", judging, "times", GOALS["ezc3d"][timed.size])
    yield Row(f"{name}: judged / plain script", judging / plain, "times", GOALS["plain"][timed.size])
    yield Row(f"{name}: plain script / ezc3d reading it", plain, "times")
    yield Row(f"{name}: the plain script's tables by our code, nothing else / ezc3d reading it", floor, "times")
    yield Row(f"{name}: ezc3d reading it", milliseconds(lambda: ezc3d.c3d(str(path))), "ms")
    for what, taken in _where_it_goes(job).items():
        yield Row(f"{name}: {what}", taken, "ms")


def _where_it_goes(job: TrialJob) -> dict[str, float]:
    """Milliseconds of the parts of judging one trial, and of the filters that its outcomes ask for."""
    work = workspace_of(job)[0]

    reading = milliseconds(lambda: read_c3d(job.path))
    texts = milliseconds(lambda: identifying_in(job.path, job.row.file))
    mapped = milliseconds(lambda: workspace_of(job))
    outcomes = milliseconds(lambda: workspace_of(job)[0].outcomes())
    return {
        "our reader": reading,
        "texts looked through for people": texts,
        "study axes and roles, plates, gaps": mapped - reading,
        "outcomes": outcomes - mapped,
        "of these, recursive filters alone": _filters(work),
        "checks (what they alone ask for)": milliseconds(lambda: judge_trial(job)) - outcomes - texts,
    }


def _floor(job: TrialJob) -> None:
    """Reads, maps, and makes the tables of the plain script once: what no judging can be quicker than."""
    work = workspace_of(job)[0]
    _ = work.footfalls, work.footfall_joints, work.muscle_outcomes, work.curves


def _filters(work: Workspace) -> float:
    """Milliseconds that scipy takes for the passes of all filters that the outcomes ask for: nothing can save these."""
    passes: list[tuple[Any, ...]] = []

    def noted(sections: Any, samples: Any, axis: int = -1, zi: Any = None) -> Any:
        passes.append((sections, samples, axis, zi))
        return sosfilt(sections, samples, axis, zi)

    with patch.object(scipy.signal, "sosfilt", noted):
        Workspace(work.trial, work.processing, work.posture, work.references).outcomes()
    return milliseconds(lambda: [sosfilt(*one) for one in passes])


def _trials(folder: Path) -> Iterator[Timed]:
    yield from small_trials(folder)
    yield Timed(f"treadmill for {SECONDS} s", "30 s", _long())


def small_trials(folder: Path) -> Iterator[Timed]:
    """A treadmill and a runway trial of the demonstration, with all that judging them needs. folder: to work in."""
    study = load_study(DEMO / "study.yaml").study
    for site, surface, text in (("brack", "treadmill", "treadmill"), ("corrie", "runway", "runway")):
        site_folder = folder / site
        running, standing = _files(site, site_folder)
        told = _told(site_folder, running.stem)
        row = TrialRow(
            running.stem,
            site,
            "running",
            told["condition"],
            surface,
            mass_kg=float(told["mass_kg"]),
            sex=told["sex"],
            leg_length_m=float(told["leg_length_m"]),
            set_speed_m_per_s=float(told["set_speed_m_per_s"]),
        )
        job = TrialJob(running, row, f"{site}-001", study.sites[site].profile, study, Stamp("0", "0"))
        posture = judge_trial(replace(job, path=standing, row=replace(row, kind="standing"))).posture
        job = replace(job, posture=posture, channel_rows=_channels(site_folder, running.stem))
        job = replace(job, references=references_in(job))
        yield Timed(text, "small", job)


def _files(site: str, folder: Path) -> tuple[Path, Path]:
    """The largest running trial of the site's first delivery and the standing trial of its session."""
    with zipfile.ZipFile(DEMO / "inbox" / site / f"{site}-001.zip") as archive:
        archive.extractall(folder)
    trials = sorted(folder.rglob("*.c3d"), key=lambda path: path.stat().st_size)
    running = next(p for p in reversed(trials) if "standing" not in p.stem)
    session = "-".join(running.stem.split("-")[:5])
    standing = next(p for p in trials if "standing" in p.stem and p.stem.startswith(session))
    return running, standing


def _told(folder: Path, trial_id: str) -> dict[str, str]:
    """What the tables say of the trial: its own row with its session's and its runner's."""
    trials, sessions, runners = (_table(folder, name) for name in ("trials", "sessions", "participants"))
    joined = trials.merge(sessions, on="session_id").merge(runners.drop(columns="mass_kg"), on="participant_id")
    return dict(joined[joined["trial_id"] == trial_id].iloc[0])


def _channels(folder: Path, trial_id: str) -> tuple[dict[str, Any], ...]:
    table = _table(folder, "channels")
    table = table.astype(object).where(table.notna(), None)
    return tuple(table[table["trial_id"] == trial_id].to_dict("records"))


def _table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(next(folder.rglob(f"{name}.csv")), dtype=str)


def _long() -> TrialJob:
    """A treadmill trial of 30 s with muscles, from the demonstration's simulator; no other of the demo is that long."""
    clean = specimen(Case(1, "brack", muscles=True))
    long = clean.again(duration_s=float(SECONDS))
    assert long.trial is not None
    recording = record(long.trial, lab("brack"), muscles=True)  # without gaps, which the plain script cannot fill
    job = job_of(replace(long, recording=recording, posture=clean.posture))
    return replace(job, references=references_in(job))


def _plain(job: TrialJob) -> dict[str, pd.DataFrame]:
    """The plain script's tables of a job."""
    row, posture = job.row, job.posture
    assert posture is not None
    muscles = {
        (r["muscle"], r["side"]): (r["label"], MICROVOLTS[r["unit_code"]] / float(r["amplifier_gain"] or 1))
        for r in job.channel_rows
        if r["role"] == "muscle"
    }
    return everything(
        job.path,
        job.profile.markers,
        turn_of(job.profile.axes),
        Person(float(row.mass_kg or 0), float(row.leg_length_m or 0), str(row.sex)),
        posture.markers,
        belt=row.set_speed_m_per_s if row.surface == "treadmill" else None,
        muscles=muscles,
        references={key: reference.amplitude_uv for key, reference in job.references.items()},
    )


def _agreement(job: TrialJob) -> str:
    """How many numbers of how many tables are ours and the plain script's. AssertionError if one differs."""
    ours, theirs = workspace_of(job)[0].outcomes(), _plain(job)
    verdict = judge_trial(job)
    assert verdict.outcomes, f"the trial is not judged to its end: {verdict.reading}"
    compared, largest = 0, 0.0
    for name in TABLES:
        left, right = ours[name].frame(), theirs[name]
        assert len(left) == len(right), f"{name}: {len(left)} rows of ours, {len(right)} of the plain script"
        for column in right.select_dtypes("float").columns:
            a, b = left[column].to_numpy(float), right[column].to_numpy(float)
            off = np.abs(a - b) / np.maximum(1.0, np.abs(a))
            assert (np.isnan(a) == np.isnan(b)).all(), f"{name}.{column}: known in one and not in the other"
            worst = float(np.nanmax(off, initial=0.0))
            assert worst <= TOLERANCE, f"{name}.{column} differs by {worst:.1e}"
            compared, largest = compared + int(np.isfinite(a).sum()), max(largest, worst)
    return f"{compared} numbers of {len(TABLES)} tables are those of the plain script (to {max(largest, 1e-15):.0e})"
