"""Kills runs, fills disks, runs twice at once, and compares what is there after the next run with an undisturbed one.

``python -m benchmarks.crash`` does it a few times, ``--full`` 200 times, ``--kills N`` and ``--disks N`` as often as
asked. Every run is the real command in a process of its own. Compared are the Parquet files byte for byte (but for
``deliveries``, which holds the time of arrival: its rows without it), the raw store and the rows of every table of the
warehouse; the ledger must be whole and name every result, and nothing may be left in ``work/``.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines.depot.proof import ledger_problems
from pipelines.depot.storage import Depot, read_table

REPO = Path(__file__).resolve().parents[1]
_SOURCES = ("schemas", "checks", "pipelines")
_TOLD_EVERY = 10
_TIMES = "EXCLUDE (received_utc)"


@dataclass(frozen=True)
class Tried:
    """How often something was tried, and what did not fit; ``reason`` if it could not be tried here."""

    what: str
    times: int
    faults: tuple[str, ...] = ()
    reason: str = ""

    def line(self) -> str:
        """One line for people."""
        told = self.reason or f"{self.times} times, {len(self.faults)} with a fault"
        return "\n".join([f"{self.what}: {told}", *(f"  {fault}" for fault in self.faults)])


def keep_the_code(folder: Path) -> None:
    """Copy code and study into ``folder``: every row names them, and they may be worked on while this takes hours."""
    for name in _SOURCES:
        shutil.copytree(REPO / name, folder / name)  # with what is compiled of it
    demo = REPO / "demo_site_uploads"
    shutil.copytree(demo / "sites", folder / "sites")
    shutil.copy(demo / "study.yaml", folder)


def start(inbox: Path, depot: Path) -> subprocess.Popen[str]:
    """Start the real command on the code beside ``inbox``, in a process group of its own."""
    place = inbox.parent
    program = "from pipelines.command.main import main; main()"
    words = [sys.executable, "-c", program, "run", "--study", str(place / "study.yaml")]
    return subprocess.Popen(
        [*words, "--inbox", str(inbox), "--depot", str(depot)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
        cwd=place,
        env={**os.environ, "PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": ""},  # compiled once in the copy
    )


def run(inbox: Path, depot: Path) -> tuple[int, str]:
    """Run the real command to its end: exit code and what it said."""
    with start(inbox, depot) as process:
        said, _ = process.communicate()
        return process.returncode, said


def content(root: Path) -> dict[str, str]:
    """What must be equal after any accident: name -> checksum or rows."""
    import duckdb

    depot = Depot(root)
    found = {f"raw/{name}": sha for name, sha in depot.store.hashes("raw").items()}
    for path in sorted((depot.root / "deliveries").rglob("*.parquet")):
        name = path.relative_to(root).as_posix()
        if path.stem == "deliveries":
            rows = read_table(path).drop(columns="received_utc").to_csv(index=False)
            found[name] = _sha(rows.encode())
        else:
            found[name] = _sha(path.read_bytes())
    with duckdb.connect(str(depot.warehouse), read_only=True) as connection:
        for (table,) in connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE schema_name = 'main' ORDER BY 1"
        ).fetchall():
            columns = _TIMES if table == "deliveries" else ""
            rows = connection.execute(f'SELECT * {columns} FROM "{table}" ORDER BY ALL').fetchall()
            found[f"warehouse {table}"] = _sha(repr(rows).encode())
    return found


def faults(root: Path, wanted: dict[str, str]) -> Iterator[str]:
    """What is not as after an undisturbed run."""
    depot, seen = Depot(root), content(root)
    yield from (f"{name} differs" for name in sorted(wanted.keys() | seen.keys()) if wanted.get(name) != seen.get(name))
    with depot.opened() as books:
        yield from (f"ledger: {problem}" for problem in ledger_problems(depot))
        results = books.deliveries.results()
        told = {entry.details.get("result") for entry in books.ledger.entries()}
    yield from (f"the ledger does not name {name}" for name, result in results.items() if result not in told)
    yield from (f"books and folders differ: {name}" for name in results.keys() ^ set(depot.delivery_ids()))
    yield from (f"left in work: {path.name}" for path in depot.work.iterdir())


def killed_runs(inbox: Path, wanted: dict[str, str], duration_s: float, times: int, chance: random.Random) -> Tried:
    """kill -9 at random moments, of the run alone or with its workers, and then again to the end."""
    bad = []
    for number in range(times):
        with tempfile.TemporaryDirectory(prefix="manystrides-kill-") as folder:
            depot, after_s = Path(folder) / "depot", chance.uniform(0.05, 1.0) * duration_s
            with start(inbox, depot) as process:
                time.sleep(after_s)
                if number % 2:
                    os.killpg(process.pid, signal.SIGKILL)
                else:
                    process.kill()
            code, said = run(inbox, depot)
            found = [f"exit code {code}: {said}"] if code else list(faults(depot, wanted))
            bad += [f"killed after {after_s:.2f} s: {text}" for text in found]
        _tell("kills", number + 1, times, len(bad))
    return Tried("kill -9 at a random moment, then run again", times, tuple(bad))


def full_disks(inbox: Path, wanted: dict[str, str], bytes_needed: int, times: int, chance: random.Random) -> Tried:
    """Disks (tmpfs) that are full at a random moment; then there is room, and the run is asked for again."""
    what, bad, codes = "disk full at a random moment, then room and run again", [], set()
    for number in range(times):
        with tempfile.TemporaryDirectory(prefix="manystrides-disk-") as folder:
            size = int(bytes_needed * chance.uniform(0.02, 0.95))
            mounted = subprocess.run(
                ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], capture_output=True, check=False
            )
            if mounted.returncode:
                return Tried(what, 0, reason="not tried: mounting a small disk needs root")
            try:
                depot = Path(folder) / "depot"
                code, said = run(inbox, depot)
                codes.add(code)
                if code not in (0, 2) or "Traceback" in said:
                    bad.append(f"{size} bytes: exit code {code}: {said[-400:]}")
                subprocess.run(["mount", "-o", f"remount,size={20 * bytes_needed}", folder], check=True)
                code, said = run(inbox, depot)
                found = [f"exit code {code}: {said}"] if code else list(faults(depot, wanted))
                bad += [f"{size} bytes: {text}" for text in found]
                _tell("full disks", number + 1, times, len(bad))
            finally:
                subprocess.run(["umount", folder], check=True)
    return Tried(f"{what} (exit codes when full: {sorted(codes)})", times, tuple(bad))


def _tell(what: str, done: int, of: int, bad: int) -> None:
    """How far it has come, on standard error: all of it takes hours."""
    if done % _TOLD_EVERY == 0:
        print(f"{what}: {done} of {of}, {bad} with a fault so far", file=sys.stderr, flush=True)


def two_at_once(inbox: Path, wanted: dict[str, str]) -> Tried:
    """Two runs on one depot: one does all, the other does all after it or refuses and names the first."""
    with tempfile.TemporaryDirectory(prefix="manystrides-two-") as folder:
        depot = Path(folder) / "depot"
        both = [start(inbox, depot) for _ in range(2)]
        ended = [(process.communicate()[0], process.returncode) for process in both]
        bad = [said for said, code in ended if code and not (code == 2 and "Another run is writing" in said)]
        if all(code for _, code in ended):
            bad.append("both refused")
        return Tried("two runs at once", 1, (*bad, *faults(depot, wanted)))


def reader_holds_the_warehouse(undisturbed: Path, more: Path) -> Tried:
    """A reader with the warehouse open sees the same rows while a run swaps a new one in; a new reader sees the new."""
    import duckdb

    question = "SELECT count(*), sum(contact_time_s) FROM footfalls"
    with tempfile.TemporaryDirectory(prefix="manystrides-read-") as folder:
        depot = Path(folder) / "depot"
        shutil.copytree(undisturbed, depot)
        with duckdb.connect(str(Depot(depot).warehouse), read_only=True) as reader:
            before = reader.execute(question).fetchall()
            code, said = run(more, depot)
            after = reader.execute(question).fetchall()
        with duckdb.connect(str(Depot(depot).warehouse), read_only=True) as reader:
            new = reader.execute(question).fetchall()
    bad = [] if code == 0 else [said]
    bad += [] if before == after else ["the open reader was given other rows"]
    bad += [] if new != before else ["a new reader was given the old rows"]
    return Tried("a reader holds the warehouse open during a run", 1, tuple(bad))


def accidents(kills: int, disks: int, pairs: int = 1, readers: int = 1, seed: int = 4) -> Iterator[Tried]:
    """Every kind of accident, on two small deliveries of which the second makes the first be judged again."""
    from tests.delivery_builders import a_delivery

    chance = random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="manystrides-crash-") as folder:
        inbox, more, depot = (Path(folder) / name for name in ("inbox", "more", "depot"))
        keep_the_code(Path(folder))
        a_delivery(inbox, names=("1",))
        a_delivery(inbox, 2, names=("standing",))
        shutil.copytree(inbox, more)
        a_delivery(more, 3, runners=("FS-02",))
        started = time.monotonic()
        code, said = run(inbox, depot)
        duration_s = time.monotonic() - started
        if code:
            yield Tried("an undisturbed run", 1, (said,))
            return
        wanted = content(depot)
        needed = sum(p.stat().st_size for p in depot.rglob("*") if p.is_file())
        yield killed_runs(inbox, wanted, duration_s, kills, chance)
        if disks:
            yield full_disks(inbox, wanted, needed, disks, chance)
        for _ in range(pairs):
            yield two_at_once(inbox, wanted)
        for _ in range(readers):
            yield reader_holds_the_warehouse(depot, more)


def main() -> int:
    """Print a line for each kind of accident; exit code 1 if any left a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true", help="200 kills and 50 full disks")
    parser.add_argument("--kills", type=int)
    parser.add_argument("--disks", type=int)
    parser.add_argument("--seed", type=int, default=4)
    asked = parser.parse_args()
    kills = asked.kills if asked.kills is not None else (200 if asked.full else 5)
    disks = asked.disks if asked.disks is not None else (50 if asked.full else 3)
    bad = 0
    for tried in accidents(kills, disks, seed=asked.seed):
        print(tried.line(), flush=True)
        bad += len(tried.faults)
    return 1 if bad else 0


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


if __name__ == "__main__":
    sys.exit(main())
