"""How long `make demo` takes without its set-up, and how busy both cores are while deliveries are taken in.

The run is a process of its own; how much of the cores it used is read from the system (Linux), for it and the workers
it starts.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter, sleep

from benchmarks.measured import QUIET, Part, Row, load

DEMO = Path(__file__).resolve().parents[1] / "demo_site_uploads"
LONGEST_S, LEAST_BUSY_PERCENT = 45.0, 80.0
_WAREHOUSE, _PAGES = "building the warehouse", "writing the pages"
_EVERY_S = 0.1
_PROCESSOR = "processor time"
_TITLE = "The demonstration (`make demo` without its set-up)"
_MOSTLY = (
    "Half of its deliveries hold one to three trials of about 3 s each, so that opening, gating and publishing, the "
    "main process's work, rule. With more or longer trials in a delivery the workers rule."
)
_BUSY = (
    "Other work kept the cores of this machine busy: time on the clock and use of the cores say nothing of this "
    "program then, and processor time is more than on a quiet machine. **Not measured: the aims of 45 s and of 80 % "
    "of the cores.**"
)


@dataclass(frozen=True)
class Moment:
    """Wall-clock time, and processor time of the run and its workers up to it, both in s."""

    wall_s: float
    cores_s: float


def measured() -> Part:
    """One run of the demonstration into an empty depot; on a busy machine only what it costs in processor time."""
    busy = load() >= QUIET
    rows = [row for row in _rows() if not busy or row.what.endswith(_PROCESSOR)]
    return Part.of(_TITLE, [_MOSTLY, *([_BUSY] if busy else [])], rows)


def _rows() -> Iterator[Row]:
    begin, taking, warehouse, pages, end = _run()
    cores = os.cpu_count() or 1
    yield Row("from the command to its end", end.wall_s - begin.wall_s, "s", LONGEST_S)
    busy = 100 * (warehouse.cores_s - taking.cores_s) / (cores * (warehouse.wall_s - taking.wall_s))
    yield Row(f"use of all {cores} cores while deliveries are taken in", busy, "%", LEAST_BUSY_PERCENT, at_least=True)
    stages = {"start": (begin, taking), "deliveries": (taking, warehouse), "warehouse": (warehouse, pages)}
    stages["pages, summary, end"] = (pages, end)
    for name, (since, until) in stages.items():
        yield Row(f"{name}: time on the clock", until.wall_s - since.wall_s, "s")
        yield Row(f"{name}: {_PROCESSOR}", until.cores_s - since.cores_s, "s")


def _run() -> tuple[Moment, ...]:
    """The run's beginning, its first delivery, warehouse, pages and end. RuntimeError if it did not go well."""
    with TemporaryDirectory() as folder:
        command = ["run", "--study", str(DEMO / "study.yaml"), "--inbox", str(DEMO / "inbox"), "--depot", f"{folder}/d"]
        begin = Moment(perf_counter(), 0.0)
        process = subprocess.Popen(
            [sys.executable, "-m", "pipelines.cli", *command],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,  # by which the workers are known
        )
        used = _Used(process.pid)
        told: dict[str, Moment] = {}
        assert process.stderr is not None
        for line in process.stderr:
            about = line.strip() if line.strip() in (_WAREHOUSE, _PAGES) else "first"
            told.setdefault(about, Moment(perf_counter(), used.now_s()))
        if process.wait() != 0:
            raise RuntimeError(f"the demonstration ended with code {process.returncode}")
        end = Moment(perf_counter(), used.stop())
    return begin, told["first"], told[_WAREHOUSE], told[_PAGES], end


class _Used:
    """Processor time of all processes of a session, those that have ended included as they were last seen."""

    def __init__(self, session: int) -> None:
        self._session, self._seen, self._stopped = session, dict[int, float](), threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def now_s(self) -> float:
        """Up to now, in s."""
        self._look()
        return sum(self._seen.values())

    def stop(self) -> float:
        """The same; nothing is watched any more."""
        self._stopped.set()
        self._thread.join()
        return sum(self._seen.values())

    def _watch(self) -> None:
        while not self._stopped.is_set():
            self._look()
            sleep(_EVERY_S)

    def _look(self) -> None:
        for path in Path("/proc").glob("[0-9]*/stat"):
            try:
                fields = path.read_text().rpartition(")")[2].split()
            except OSError:
                continue  # it has just ended
            if int(fields[3]) == self._session:
                ticks = int(fields[11]) + int(fields[12])
                self._seen[int(path.parent.name)] = ticks / os.sysconf("SC_CLK_TCK")
