"""Fixtures that several test modules share."""

from __future__ import annotations

import gc
import json
import multiprocessing.forkserver
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from filelock import FileLock
from hypothesis import settings

from pipelines.command.exit_codes import LABORATORIES_ASKED

# No deadline per example: how long one takes depends on what else the machine is doing, and is not what a test is for.
# `make test` tries the same examples each time; `make explore` tries new ones, and what it finds becomes a plain test.
settings.register_profile("manystrides", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=500, print_blob=True)
settings.load_profile(os.environ.get("MANYSTRIDES_HYPOTHESIS", "manystrides"))

REPO = Path(__file__).resolve().parents[1]

# Depots of tests lie in memory where there is room for them: a run asks the disk a hundred times whether something is
# on it for good, and no test is about a machine that loses its power.
_MEMORY, _ROOM_BYTES = Path("/dev/shm"), 6 * 2**30
if "TMPDIR" not in os.environ and _MEMORY.is_dir() and shutil.disk_usage(_MEMORY).free > _ROOM_BYTES:
    os.environ["TMPDIR"] = tempfile.tempdir = str(_MEMORY)

# One server for all runs of a test process, with what any worker imports; a run's own list comes too late for it.
multiprocessing.forkserver.set_forkserver_preload(["tests.worker_server"])
multiprocessing.forkserver.set_forkserver_preload = lambda names: None

# What is imported and collected stays to the end: looking through it for garbage, over and over, finds none.
gc.disable()


#: Where tests take many seconds each; they come first, so that no worker is left alone with a long module at the end.
_LONG = (
    *(
        "tests/whole/",
        "tests/trust/",
        "tests/pipelines/taking_in/",
        "tests/pipelines/assets/",
        "tests/pipelines/release/",
    ),
    *("tests/pipelines/pool/", "tests/pipelines/pages/", "tests/pipelines/deciding/", "tests/pipelines/depot/"),
    *("tests/demo/", "tests/docs/", "tests/pipelines/command/", "tests/pipelines/lab/", "tests/pipelines/identity/"),
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    def place(item: pytest.Item) -> int:
        return next((at for at, folder in enumerate(_LONG) if item.nodeid.startswith(folder)), len(_LONG))

    items.sort(key=place)


def pytest_collection_finish() -> None:
    gc.freeze()
    gc.set_threshold(10_000)  # young ones are looked at after as many are made, not after 700
    gc.enable()


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, Callable[[Path], None]], Path]:
    """Makes a folder once for all workers of this test session: the first to ask makes it, the others wait and read.

    Nobody may write into it; a test that has to copies it.
    """
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base

    def make(name: str, fill: Callable[[Path], None]) -> Path:
        folder, done = shared / f"once-{name}", shared / f"once-{name}.done"
        with FileLock(shared / f"once-{name}.lock"):
            if not done.exists():
                shutil.rmtree(folder, ignore_errors=True)  # an attempt that failed half-way
                folder.mkdir()
                fill(folder)
                done.touch()
        return folder

    return make


@pytest.fixture(scope="session")
def demo_run(made_once: Callable[[str, Callable[[Path], None]], Path]) -> tuple[Path, CompletedProcess[str]]:
    """The demo deliveries taken in once by the real command: the depot, and what the command printed."""
    folder = made_once("demo", _take_in_the_demo)
    said = json.loads((folder / "said.json").read_text(encoding="utf-8"))
    return folder / "depot", CompletedProcess(**said)


def _take_in_the_demo(folder: Path) -> None:
    demo = REPO / "demo_site_uploads"
    program = Path(sys.executable).with_name("manystrides")
    words = ["run", "--study", demo / "study.yaml", "--inbox", demo / "inbox", "--depot", folder / "depot"]
    done = subprocess.run(
        [str(program), *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env={**os.environ, "COLUMNS": "120"},
    )
    said = {"args": [], "returncode": done.returncode, "stdout": done.stdout, "stderr": done.stderr}
    (folder / "said.json").write_text(json.dumps(said), encoding="utf-8")


@pytest.fixture(scope="session")
def demo_depot(demo_run: tuple[Path, CompletedProcess[str]]) -> Path:
    """The depot that the demo run made."""
    depot, done = demo_run
    assert done.returncode == LABORATORIES_ASKED, done.stdout + done.stderr
    return depot
