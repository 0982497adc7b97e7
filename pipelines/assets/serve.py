"""Starts Dagster's web page and daemon for one depot, on this machine only."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from pipelines.depot.storage import Depot, write_bytes
from pipelines.study.file import load_study
from pipelines.telemetry import SWITCHES

_PAUSE_S = 0.05

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
    """Run until interrupted or terminated; returns the exit code. No process of it is left then.

    Raises Unusable for a study file that cannot be used.
    """
    load_study(study)
    depot = Depot(depot_root)
    print(f"Dagster opens at http://127.0.0.1:{port} for the depot {depot.root}. Ctrl-C ends it.", flush=True)
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)  # a service manager's word for Ctrl-C
    server = subprocess.Popen(command(port), env=environment(study, inbox, depot), start_new_session=True)
    try:
        return server.wait()
    except KeyboardInterrupt:
        return 0
    finally:
        end_group(server)
        signal.signal(signal.SIGTERM, before)


def end_group(leader: subprocess.Popen[bytes], patience_s: Sequence[float] = (20.0, 5.0, 5.0)) -> None:
    """End a process that leads a group, and all that it started: asked, asked again, killed. patience_s: for each.

    A run that is ended so is finished by the next one.
    """
    for word, wait_s in zip((signal.SIGINT, signal.SIGTERM, signal.SIGKILL), patience_s, strict=True):
        until = time.monotonic() + wait_s
        try:
            os.killpg(leader.pid, word)
            while time.monotonic() < until:
                leader.poll()  # else it counts to its group after its end
                os.killpg(leader.pid, 0)
                time.sleep(_PAUSE_S)
        except ProcessLookupError:
            break
    leader.wait()
