"""Times and memory of the real command on multiplied studies, and of ten questions to the largest of them."""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from time import perf_counter

from benchmarks.studies.multiply import multiply
from benchmarks.studies.questions import Took, compare

DEMO = Path(__file__).resolve().parents[2] / "demo_site_uploads"
#: The delivery that comes as a new one: 12 trials, none of which goes back.
NEW = Path("brack") / "brack-004.zip"
#: Each footfall of a running trial so often: 10,000 trials then have a million.
REPETITIONS = 60
NOTHING_NEW_S, BEYOND_DELIVERY_S = 3.0, 10.0
FASTER_TIMES, QUESTION_S = 10.0, 0.1


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

    def lines(self) -> Iterator[str]:
        """For people."""
        yield f"{self.trials} trials in {self.deliveries} deliveries"
        yield f"  everything made anew      {_told(self.rebuilt)}"
        yield f"  nothing new               {_told(self.nothing)}   aim: under {NOTHING_NEW_S:g} s"
        own = f"{self.new.own_s or 0.0:.1f} s until its result counts"
        yield f"  one new delivery          {_told(self.new)}"
        yield f"    {own}, {self.new.beyond_s:.1f} s beyond that   aim: under {BEYOND_DELIVERY_S:g} s"


def _told(run: Run) -> str:
    return f"{run.wall_s:6.1f} s, {run.cpu_s:6.1f} s of processor, {run.peak_mb:6.0f} MB at most"


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
    if process.returncode != 0:
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

    def lines(self) -> Iterator[str]:
        """For people."""
        yield f"ten questions to {self.footfalls} footfalls"
        for one in self.took:
            yield f"  {one.what:72} {1000 * one.duckdb_s:7.0f} ms, pandas over CSV {1000 * one.pandas_s:7.0f} ms"
        yield f"  median {1000 * self.median_s:.0f} ms   aim: under {1000 * QUESTION_S:g} ms"
        yield f"  pandas over CSV takes {self.times_faster:.0f} times as long (median)   aim: at least {FASTER_TIMES:g}"


def answered(size: Size) -> Answered:
    """Ask the ten questions of a study."""
    import duckdb

    took = tuple(compare(size.warehouse, size.warehouse.parent / "csv"))
    with duckdb.connect(str(size.warehouse), read_only=True) as connection:
        row = connection.execute("SELECT count(*) FROM footfalls").fetchone()
    return Answered(int(row[0]) if row else 0, took)
