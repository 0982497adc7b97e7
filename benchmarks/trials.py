"""What one trial costs, against the usual library only reading the same file."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import ezc3d

from benchmarks.timing import ratio
from checks.findings import Stamp
from pipelines.intake.c3d.reading import read_c3d
from pipelines.intake.to_trial import TrialRow
from pipelines.judging.judge import TrialJob, judge_trial
from pipelines.study.file import load_study

DEMO = Path(__file__).resolve().parents[1] / "demo_site_uploads"


def ratios() -> Iterator[str]:
    """One line per ratio."""
    study = load_study(DEMO / "study.yaml").study
    with TemporaryDirectory() as folder:
        for site, surface in (("brack", "treadmill"), ("corrie", "runway")):
            path = _largest_trial(site, Path(folder))
            row = TrialRow(path.stem, site, "running", "cushioned", surface, mass_kg=70.0, set_speed_m_per_s=3.0)
            job = TrialJob(path, row, f"{site}-001", study.sites[site].profile, study, Stamp("0", "0"))
            size = path.stat().st_size / 1e3
            reading = ratio(lambda path=path: read_c3d(path), lambda path=path: ezc3d.c3d(str(path)))
            judging = ratio(lambda job=job: judge_trial(job), lambda path=path: ezc3d.c3d(str(path)))
            yield f"{site:8} {size:5.0f} kB: reading a trial / ezc3d reading it                      {reading:6.2f}"
            yield f"{site:8} {size:5.0f} kB: reading, computing and checking it / ezc3d reading it   {judging:6.2f}"


def _largest_trial(site: str, folder: Path) -> Path:
    """The largest C3D file of the site's first delivery, copied out of its bag."""
    bag = DEMO / "inbox" / site / f"{site}-001"
    if bag.is_dir():
        return max(bag.rglob("*.c3d"), key=lambda path: path.stat().st_size)
    with zipfile.ZipFile(bag.with_suffix(".zip")) as archive:
        trials = [m for m in archive.infolist() if m.filename.lower().endswith(".c3d")]
        return Path(archive.extract(max(trials, key=lambda m: m.file_size), folder))
