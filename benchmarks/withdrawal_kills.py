"""Kills withdrawals at random moments and looks what is left once the next command has ended.

``python -m benchmarks.withdrawal_kills --kills 60`` does so with the real commands: ``withdraw`` is killed with all its
processes, then ``run`` is asked for, which knows nothing of it. Left may be no byte of the runner: no file of the raw
store or the closed folder, no live file with the runner's id, no id in the books, and no withdrawal that is not done.
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
from pathlib import Path

from benchmarks.crash import keep_the_code, run
from pipelines.depot.proof import ledger_problems
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from pipelines.depot.verify import verify

LEAVES, STAYS = "FS-02", "FS-01"
_TOLD_EVERY = 10


def start_withdrawal(place: Path, depot: Path) -> subprocess.Popen[bytes]:
    """Start the real command on the code in ``place``, in a process group of its own."""
    program = "from pipelines.command.main import main; main()"
    asked = [LEAVES, "--scope", "all", "--why", "by letter", "--as", "tester", "--yes"]
    words = [sys.executable, "-c", program, "withdraw", *asked, "--study", str(place / "study.yaml")]
    return subprocess.Popen(
        [*words, "--depot", str(depot)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        cwd=place,
        env={**os.environ, "PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": ""},
    )


def left(root: Path, shas: set[str]) -> Iterator[str]:
    """What is still there of the runner, and what else is not as it should be."""
    depot = Depot(root)
    stored = {key.rpartition("/")[2] for folder in ("raw", "closed") for key in depot.store.below(folder)}
    yield from (f"file {sha[:12]}" for sha in sorted(shas & stored))
    yield from (f"{path.relative_to(root)} names the runner" for path in files_with(depot, [LEAVES])[1])
    if any(LEAVES.encode() in path.read_bytes() for path in root.glob("books.*")):
        yield "the books name the runner"
    with depot.opened() as books:
        yield from (f"not done: {job.tombstone}" for job in books.jobs.open())
        yield from (f"ledger: {problem}" for problem in ledger_problems(depot))
    with depot.alone("benchmark"):
        yield from (f"verify: {fault.line()}" for fault in verify(depot))


def kills(times: int, seed: int = 4) -> tuple[int, list[str]]:
    """How many of the killed withdrawals had begun, and all that was left after the next command."""
    from tests.delivery_builders import a_delivery, planned

    chance, bad, begun = random.Random(seed), list[str](), 0
    shas = {hashlib.sha256(planned(LEAVES, name)[1]).hexdigest() for name in ("standing", "1")}
    with tempfile.TemporaryDirectory(prefix="manystrides-withdraw-") as folder:
        place = Path(folder)
        inbox, before, depot = place / "inbox", place / "before", place / "depot"
        keep_the_code(place)
        a_delivery(inbox, runners=(STAYS, LEAVES))
        code, said = run(inbox, depot)
        if code:
            return 0, [said]
        for name in (depot, place / "depot.register"):
            shutil.copytree(name, before) if name.is_dir() else shutil.copy(name, place / "before.register")
        shutil.rmtree(inbox)  # the laboratory is told, and a run takes nothing in again
        inbox.mkdir()
        started = time.monotonic()
        start_withdrawal(place, depot).wait()
        whole_s = time.monotonic() - started
        bad += [f"undisturbed: {text}" for text in left(depot, shas)]
        for number in range(times):
            if number and number % _TOLD_EVERY == 0:
                print(f"{number} killed, {begun} after they had begun; left so far: {len(bad)}", flush=True)
            shutil.rmtree(depot)
            shutil.copytree(before, depot)
            shutil.copy(place / "before.register", place / "depot.register")
            after_s = chance.uniform(0.0, 1.0) * whole_s
            process = start_withdrawal(place, depot)
            time.sleep(after_s)
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            code, said = run(inbox, depot)
            if code:
                bad.append(f"killed after {after_s:.2f} s: exit code {code}: {said[-300:]}")
                continue
            with Depot(depot).opened() as books:
                was_asked = books.withdrawals.any()
            begun += was_asked
            if was_asked:  # else it was killed before anything was noted, and nobody knows of it
                bad += [f"killed after {after_s:.2f} s: {text}" for text in left(depot, shas)]
    return begun, bad


def main() -> int:
    """Print what was left; exit code 1 if anything was."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=5)
    parser.add_argument("--seed", type=int, default=4)
    asked = parser.parse_args()
    begun, bad = kills(asked.kills, asked.seed)
    print(f"{asked.kills} withdrawals killed, {begun} after they had begun; left after the next command: {len(bad)}")
    for text in bad:
        print(f"  {text}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
