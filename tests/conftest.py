"""Fixtures that several test modules share."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# No deadline per example: how long one takes depends on what else the machine is doing, and is not what a test is for.
# `make test` tries the same examples each time; `make explore` tries new ones, and what it finds becomes a plain test.
settings.register_profile("manystrides", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=500, print_blob=True)
settings.load_profile(os.environ.get("MANYSTRIDES_HYPOTHESIS", "manystrides"))

REPO = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """The demo deliveries taken in once by the real command: the depot, and what the command printed."""
    depot = tmp_path_factory.mktemp("demo") / "depot"
    program = Path(sys.executable).with_name("manystrides")
    demo = REPO / "demo_site_uploads"
    done = subprocess.run(
        [
            str(program),
            "run",
            "--study",
            str(demo / "study.yaml"),
            "--inbox",
            str(demo / "inbox"),
            "--depot",
            str(depot),
        ],
        capture_output=True,
        text=True,
        check=False,
        cwd=depot.parent,
        env={**os.environ, "COLUMNS": "120"},
    )
    return depot, done


@pytest.fixture(scope="session")
def demo_depot(demo_run: tuple[Path, subprocess.CompletedProcess[str]]) -> Path:
    """The depot that the demo run made."""
    depot, done = demo_run
    assert done.returncode == 0, done.stdout + done.stderr
    return depot
