"""Starts Dagster's web page and daemon for one depot, on this machine only."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

from pipelines.depot.storage import Depot, write_bytes
from pipelines.study.file import load_study
from pipelines.telemetry import SWITCHES

#: The instance settings of the Dagster web server. One run at a time, because a depot has one writer.
DAGSTER_YAML = """\
telemetry:
  enabled: false
nux:
  enabled: false
concurrency:
  runs:
    max_concurrent_runs: 1
  pools:
    granularity: run
    default_limit: 1
"""


def quiet_dagster_home(home: Path) -> Path:
    """Make ``home`` a Dagster home folder whose settings send nothing; returns it."""
    home.mkdir(parents=True, exist_ok=True)
    write_bytes(home / "dagster.yaml", DAGSTER_YAML.encode())
    return home


def environment(study: Path, inbox: Path, depot: Depot) -> dict[str, str]:
    """The environment Dagster runs in: where everything is, and nothing sent anywhere."""
    return {
        **os.environ,
        **SWITCHES,
        "DAGSTER_HOME": str(quiet_dagster_home(depot.dagster_home)),
        "MANYSTRIDES_STUDY": str(study.absolute()),
        "MANYSTRIDES_INBOX": str(inbox.absolute()),
        "MANYSTRIDES_DEPOT": str(depot.root),
    }


def command(port: int) -> list[str]:
    """The command that starts it."""
    program = [sys.executable, "-m", "dagster", "dev", "--module-name", "pipelines.assets.definitions"]
    return [*program, "--host", "127.0.0.1", "--port", str(port)]


def serve(study: Path, inbox: Path, depot_root: str, port: int) -> int:
    """Run until interrupted; returns the exit code. Raises Unusable for a study file that cannot be used."""
    load_study(study)
    depot = Depot(depot_root)
    print(f"Dagster opens at http://127.0.0.1:{port} for the depot {depot.root}. Ctrl-C ends it.", flush=True)
    server = subprocess.Popen(command(port), env=environment(study, inbox, depot))
    try:
        return server.wait()
    except KeyboardInterrupt:  # Ctrl-C reaches the server too; it needs a moment to end its own children
        return 0
    finally:
        if server.poll() is None:
            server.send_signal(signal.SIGINT)
            server.wait()
