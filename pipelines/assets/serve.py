"""Starts Dagster's web page and daemon for one depot, on this machine only."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from pipelines.depot.storage import Depot, write_bytes
from pipelines.study.file import load_study
from pipelines.telemetry import SWITCHES

#: This machine, and no other.
HOST = "127.0.0.1"

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


def commands(port: int) -> tuple[list[str], list[str]]:
    """The commands that start the web page, behind its guard, and the daemon."""
    module = ["--module-name", "pipelines.assets.definitions"]
    web = [sys.executable, "-m", "pipelines.assets.web", "--host", HOST, "--port", str(port), *module]
    return web, [sys.executable, "-m", "dagster._daemon", "run", *module]


def serve(study: Path, inbox: Path, depot_root: str, port: int) -> int:
    """Run until interrupted; returns the exit code. Raises Unusable for a study file that cannot be used."""
    load_study(study)
    depot = Depot(depot_root)
    print(f"Dagster opens at http://{HOST}:{port} for the depot {depot.root}. Ctrl-C ends it.", flush=True)
    around = environment(study, inbox, depot)
    servers = [subprocess.Popen(words, env=around) for words in commands(port)]
    try:
        while all(server.poll() is None for server in servers):
            time.sleep(0.5)
        return max(server.returncode or 0 for server in servers)
    except KeyboardInterrupt:  # Ctrl-C reaches the servers too; they need a moment to end their own children
        return 0
    finally:
        for server in servers:
            if server.poll() is None:
                server.send_signal(signal.SIGINT)
        for server in servers:
            server.wait()
