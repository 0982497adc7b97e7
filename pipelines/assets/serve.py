"""Starts Dagster's web page and daemon for one depot, on this machine only."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from pipelines.depot.disk import write_bytes
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.study.file import load_study
from pipelines.telemetry import SWITCHES

#: This machine, and no other.
HOST = "127.0.0.1"
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


def commands(port: int) -> tuple[list[str], list[str]]:
    """The commands that start the web page, behind its guard, and the daemon."""
    module = ["--module-name", "pipelines.assets.definitions"]
    web = [sys.executable, "-m", "pipelines.assets.web", "--host", HOST, "--port", str(port), *module]
    return web, [sys.executable, "-m", "dagster._daemon", "run", *module]


def serve(study: Path, inbox: Path, depot_root: str, port: int) -> int:
    """Run until interrupted; returns the exit code. No process of it is left then.

    A service manager's SIGTERM interrupts, too: as in every command, see ``pipelines.command.interrupts``.

    Raises Unusable for a study file that cannot be used, or a port that another program has.
    """
    load_study(study)
    refuse_port(port)
    depot = Depot(depot_root)
    print(f"Dagster opens at http://{HOST}:{port} for the depot {depot.root}. Ctrl-C ends it.", flush=True)
    around = environment(study, inbox, depot)
    _tell_dagster(study, depot)
    servers = [subprocess.Popen(words, env=around, start_new_session=True) for words in commands(port)]
    try:
        while all(server.poll() is None for server in servers):
            time.sleep(_PAUSE_S)
        return max(server.returncode or 0 for server in servers)
    except KeyboardInterrupt:
        return 0
    finally:
        for server in servers:
            end_group(server)


def _tell_dagster(study: Path, depot: Depot) -> None:
    """Show the deliveries the depot holds, whoever took them in, from the start; Dagster's own home must be there."""
    if not depot.exists:
        return
    import dagster as dg

    from pipelines.assets.partitions import make_known
    from pipelines.taking_in.opening import open_desk

    home = str(depot.dagster_home)
    with dg.DagsterInstance.from_config(home) as instance, open_desk(depot, load_study(study), "dagster") as desk:
        make_known(instance, desk)


def refuse_port(port: int) -> None:
    """Raises Unusable if nothing can be served at this port of this machine."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as servers do: an old connection does not count
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise Unusable(
                f"Port {port} of this machine cannot be had: {error.strerror}.",
                "a port that no other program uses.",
                "Give another with --port, for example 3001, or end the program that has it.",
            ) from None


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
