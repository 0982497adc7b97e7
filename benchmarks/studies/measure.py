"""Times and memory of the real command on multiplied studies, and of ten questions to the largest of them."""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from benchmarks.measured import Part, Row
from benchmarks.studies.multiply import multiply
from benchmarks.studies.questions import Took, compare
from pipelines.command.exit_codes import LABORATORIES_ASKED

DEMO = Path(__file__).resolve().parents[2] / "demo_site_uploads"
#: The delivery that comes as a new one: 12 trials, none of which goes back.
NEW = Path("brack") / "brack-004.zip"
#: Each footfall of a running trial so often: 10,000 trials then have a million.
REPETITIONS = 60
NOTHING_NEW_S, BEYOND_DELIVERY_S = 3.0, 10.0
FASTER_TIMES, QUESTION_S = 10.0, 0.1


#: Trials of the studies that are measured, about.
SIZES = (200, 2_000, 10_000)
_NOTES = (
    "The demonstration without one delivery, its results copied under other ids until there are so many trials. A "
    "fifth of them have planted faults: more than in a real study, so that findings and pages are many.",
    "A copy moves like what it is a copy of, and a runner who travelled does so in every copy: a new trial is compared "
    "with, and the analyses hold, many times as many of either as a real study of this size.",
    "Every run is the real command in a process of its own. Processor time and memory are those of the command and of "
    "what it waited for, without the workers that judge.",
    "Questions are asked of an open warehouse; pandas reads the columns it needs from CSV files, then answers, once.",
)


@dataclass(frozen=True)
class Run:
    """One run of the command. own_s: until the last delivery's result counted; None if there was none."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    own_s: float | None

    @property
    def beyond_s(self) -> float:
        """What came after the delivery itself: warehouse, checks of sites, pages."""
        return self.wall_s - (self.own_s or 0.0)


@dataclass(frozen=True)
class Size:
    """What was measured of one size of study."""

    trials: int
    deliveries: int
    warehouse: Path
    rebuilt: Run
    nothing: Run
    new: Run

    def rows(self) -> Iterator[Row]:
        """What was found, with the aims."""
        of = f"{self.trials} trials in {self.deliveries} deliveries"
        for what, run in (("all made anew", self.rebuilt), ("nothing new", self.nothing), ("one delivery", self.new)):
            aim = NOTHING_NEW_S if run is self.nothing else None
            yield Row(f"{of}, {what}", run.wall_s, "s", aim)
            yield Row(f"{of}, {what}: processor time", run.cpu_s, "s")
            yield Row(f"{of}, {what}: memory at most", run.peak_mb, "MB")
        yield Row(f"{of}, one delivery: until its result counts", self.new.own_s or 0.0, "s")
        yield Row(f"{of}, one delivery: beyond that", self.new.beyond_s, "s", BEYOND_DELIVERY_S)


def measure(place: Path, trials: int) -> Size:
    """A study of about so many trials. place: the folder it is made in."""
    base = _base(place)
    folder = place / f"study-{trials}"
    shutil.rmtree(folder, ignore_errors=True)
    copies = max(1, round(trials / _trials(base / "depot")))
    multiply(base, folder, copies, REPETITIONS)
    inbox, depot = folder / "inbox", folder / "depot"
    rebuilt = run(inbox, depot, "--rebuild")
    nothing = run(inbox, depot)
    shutil.copy2(DEMO / "inbox" / NEW, inbox / NEW)
    new = run(inbox, depot)
    deliveries = sum(1 for _ in (depot / "deliveries").iterdir())
    return Size(_trials(depot), deliveries, depot / "warehouse.duckdb", rebuilt, nothing, new)


def _base(place: Path) -> Path:
    """The demonstration without the new delivery, taken in; made once."""
    base = place / "base"
    if not base.exists():
        shutil.copytree(DEMO / "inbox", base / "inbox")
        (base / "inbox" / NEW).unlink()
        run(base / "inbox", base / "depot")
    return base


def _trials(depot: Path) -> int:
    import duckdb

    with duckdb.connect() as connection:
        files = f"{depot}/deliveries/*/standings.parquet"
        row = connection.execute(f"SELECT count(*) FROM read_parquet('{files}', union_by_name => true)").fetchone()
    return int(row[0]) if row else 0


def run(inbox: Path, depot: Path, *words: str) -> Run:
    """One run of the real command. RuntimeError if it does not go well."""
    command = [sys.executable, "-m", "pipelines.cli", "run", "--study", str(DEMO / "study.yaml")]
    log = depot / "log" / "manystrides.jsonl"
    log.unlink(missing_ok=True)
    start = perf_counter()
    with subprocess.Popen(
        [*command, "--inbox", str(inbox), "--depot", str(depot), *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        said = process.stdout.read() if process.stdout else ""
        _, status, used = os.wait4(process.pid, 0)  # of the command and of all it waited for itself
        process.returncode = os.waitstatus_to_exitcode(status)
    wall = perf_counter() - start
    if process.returncode not in (0, LABORATORIES_ASKED):
        raise RuntimeError(f"the run ended with exit code {process.returncode}: {said[-2000:]}")
    return Run(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, _own_s(log))


def _own_s(log: Path) -> float | None:
    """From the first line of the run's log to the last that tells of a delivery's result."""
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    times = [
        datetime.fromisoformat(line["utc"]) for line in lines if line["what"] == "The result of a delivery counts."
    ]
    return (max(times) - datetime.fromisoformat(lines[0]["utc"])).total_seconds() if times else None


@dataclass(frozen=True)
class Answered:
    """The ten questions, both ways."""

    footfalls: int
    took: tuple[Took, ...]

    @property
    def median_s(self) -> float:
        """Of the ten, to DuckDB."""
        return statistics.median(one.duckdb_s for one in self.took)

    @property
    def times_faster(self) -> float:
        """Median over the ten of pandas over CSV / DuckDB."""
        return statistics.median(one.pandas_s / one.duckdb_s for one in self.took)

    def rows(self) -> Iterator[Row]:
        """What was found, with the aims."""
        for one in self.took:
            yield Row(f"{one.what}: DuckDB", 1000 * one.duckdb_s, "ms")
            yield Row(f"{one.what}: pandas over CSV", 1000 * one.pandas_s, "ms")
        ten = f"ten questions to {self.footfalls} footfalls"
        yield Row(f"{ten}, median", 1000 * self.median_s, "ms", 1000 * QUESTION_S)
        yield Row(f"{ten}, pandas over CSV / DuckDB, median", self.times_faster, "times", FASTER_TIMES, at_least=True)


def answered(size: Size) -> Answered:
    """Ask the ten questions of a study."""
    import duckdb

    took = tuple(compare(size.warehouse, size.warehouse.parent / "csv"))
    with duckdb.connect(str(size.warehouse), read_only=True) as connection:
        row = connection.execute("SELECT count(*) FROM footfalls").fetchone()
    return Answered(int(row[0]) if row else 0, took)


def measured(sizes: Sequence[int] = SIZES, keep: Path | None = None) -> Part:
    """Studies of these sizes, and the ten questions to the last of them. keep: a folder to work in, which stays."""
    with TemporaryDirectory(prefix="manystrides-studies-") as folder:
        return Part.of("Studies of many trials", _NOTES, list(_rows(keep or Path(folder), sizes)))


def _rows(place: Path, sizes: Sequence[int]) -> Iterator[Row]:
    for trials in sizes:
        size = measure(place, trials)
        yield from size.rows()
        if trials == sizes[-1]:
            yield from answered(size).rows()
