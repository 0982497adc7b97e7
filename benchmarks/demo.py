"""How long `make demo` takes without its set-up, and how busy both cores are while deliveries are taken in.

The run is a process of its own; how much of the cores it used is read from the system (Linux), for it and the workers
it starts.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from benchmarks.measured import Part, Row
from benchmarks.used import QUIET_SHARE, Moment, Watch
from pipelines.command.exit_codes import LABORATORIES_ASKED

DEMO = Path(__file__).resolve().parents[1] / "demo_site_uploads"
LONGEST_S, LEAST_BUSY_PERCENT = 45.0, 80.0
_WAREHOUSE, _PAGES = "building the warehouse", "writing the pages"
_PROCESSOR = "processor time"
_TITLE = "The demonstration (`make demo` without its set-up)"
_MOSTLY = (
    "Half of its deliveries hold one to three trials of about 3 s each, so that opening, gating and publishing, the "
    "main process's work, rule. With more or longer trials in a delivery the workers rule."
)
_BUSY = (
    "Other work took {:.0%} of the cores of this machine: time on the clock and use of the cores say nothing of this "
    "program then, and processor time is more than on a quiet machine. **Not measured: the aims of 45 s and of 80 % "
    "of the cores.**"
)


def measured() -> Part:
    """One run of the demonstration into an empty depot; on a busy machine only what it costs in processor time."""
    moments = _run()
    others = moments[0].others_until(moments[-1])
    busy = others > QUIET_SHARE
    rows = [row for row in _rows(moments) if not busy or row.what.endswith(_PROCESSOR)]
    return Part.of(_TITLE, [_MOSTLY, *([_BUSY.format(others)] if busy else [])], rows)


def _rows(moments: tuple[Moment, ...]) -> Iterator[Row]:
    begin, taking, warehouse, pages, end = moments
    yield Row("from the command to its end", end.wall_s - begin.wall_s, "s", LONGEST_S)
    what = f"use of all {os.cpu_count()} cores while deliveries are taken in"
    yield Row(what, 100 * taking.busy_until(warehouse), "%", LEAST_BUSY_PERCENT, at_least=True)
    stages = {"start": (begin, taking), "deliveries": (taking, warehouse), "warehouse": (warehouse, pages)}
    stages["pages, summary, end"] = (pages, end)
    for name, (since, until) in stages.items():
        yield Row(f"{name}: time on the clock", until.wall_s - since.wall_s, "s")
        yield Row(f"{name}: {_PROCESSOR}", until.own_s - since.own_s, "s")


def _run() -> tuple[Moment, ...]:
    """The run's beginning, its first delivery, warehouse, pages and end. RuntimeError if it did not go well."""
    with TemporaryDirectory() as folder:
        command = ["run", "--study", str(DEMO / "study.yaml"), "--inbox", str(DEMO / "inbox"), "--depot", f"{folder}/d"]
        process = subprocess.Popen(
            [sys.executable, "-m", "pipelines.cli", *command],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,  # by which the workers are known
        )
        watch = Watch(process.pid)
        begin = watch.now()
        told: dict[str, Moment] = {}
        assert process.stderr is not None
        for line in process.stderr:
            about = line.strip() if line.strip() in (_WAREHOUSE, _PAGES) else "first"
            told.setdefault(about, watch.now())
        if process.wait() not in (0, LABORATORIES_ASKED):
            raise RuntimeError(f"the demonstration ended with code {process.returncode}")
        end = watch.stop()
    return begin, told["first"], told[_WAREHOUSE], told[_PAGES], end
