"""Makes the mutants, gives each to its reader in a worker, and counts what became of them. One line for each kind."""

from __future__ import annotations

import resource
import zipfile
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, nullcontext
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from time import perf_counter
from zlib import crc32

from benchmarks.attack import c3d_mutants, other_mutants
from benchmarks.attack.silent import silence
from benchmarks.attack.targets import DEMO, fate
from pipelines.workers.isolation import Ended, Isolated

CORPUS = Path(__file__).resolve().parents[3] / "shared" / "c3d_corpus" / "dev"
FULL = (10_000, 1_000)
QUICK = (660, 130)
HANGS_AFTER_S = 60.0  # a worker's first file also waits for libraries to load
MEMORY_LIMIT_MB = 3072  # of addresses, of which libraries reserve far more than they use; the peak printed is of memory
#: Largest sound file that is made into mutants; the longer ones of the corpus only take longer to read.
MOST_BYTES = 1_000_000
DEMO_FILES = 6  # these come first; all of one laboratory
THOROUGH_EVERY = 10  # of the C3D mutants, one in so many is judged whole, with outcomes and checks


@dataclass(frozen=True)
class Job:
    """One mutant: what reads it, how it is made, which sound file, which seed."""

    target: str
    kind: str
    number: int


@dataclass
class Tally:
    """What became of the mutants of one kind. details: of crashes, by their text. silence: see ``silent``."""

    target: str
    kind: str
    mutants: int = 0
    fates: Counter[str] = field(default_factory=Counter)
    details: Counter[str] = field(default_factory=Counter)
    silence: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    peak_mb: float = 0.0

    @property
    def line(self) -> str:
        """As printed."""
        f = self.fates
        return (
            f"{self.target:5}{self.kind:30}{self.mutants:7}{f['refused']:9}{f['read']:7}{f['too_large']:11}"
            f"{f['crashed']:9}{f['too_slow']:7}{self.slowest_s:11.2f}{self.peak_mb:10.0f}"
        )


SILENCE = ("same values", "agrees with itself", "returned", "noted", "silent")
SILENCE_HEAD = f"{'mutants that were read':35}" + "".join(f"{word:>20}" for word in SILENCE)

HEAD = (
    f"{'file':5}{'mutants made by':30}{'mutants':>7}{'refused':>9}{'read':>7}{'too large':>11}{'crashes':>9}"
    f"{'hangs':>7}{'slowest s':>11}{'peak MiB':>10}"
)


def attack(c3d_count: int, other_count: int, workers: int = 2, *, own_workers: bool = False) -> Iterator[Tally]:
    """Run every kind; yields its tally when it is done. "Too large" is a mutant stopped by the limit on memory.

    own_workers: each kind gets new workers, so that the peak of memory is its own; costs their start each time.
    """
    per_kind = -(-c3d_count // len(c3d_mutants.KINDS))
    plan = [("c3d", kind, per_kind) for kind in c3d_mutants.KINDS]
    for target, kinds in other_mutants.KINDS.items():
        total = sum(share for each in other_mutants.KINDS.values() for _, share in each.values())
        plan += [(target, kind, max(1, round(other_count * share / total))) for kind, (_, share) in kinds.items()]
    with ExitStack() as one_pool:
        shared = None if own_workers else one_pool.enter_context(_workers(workers))
        for target, kind, count in plan:
            tally = Tally(target, kind, count)
            with nullcontext(shared) if shared else _workers(workers) as isolated:
                for ended in isolated.map(suffer, [Job(target, kind, number) for number in range(count)]):
                    _note(tally, ended)
            yield tally


def _workers(count: int) -> Isolated:
    return Isolated(count, HANGS_AFTER_S, MEMORY_LIMIT_MB)


def _note(tally: Tally, ended: Ended) -> None:
    if ended.problem is not None:
        fate = ended.problem if ended.problem in ("too_large", "too_slow") else "crashed"
        tally.fates[fate] += 1
        tally.details[f"{fate}: {ended.detail}"] += 1
        return
    what, seconds, peak_mb, silence = ended.value
    tally.fates[what] += 1
    if silence is not None:
        tally.silence[silence] += 1
    tally.slowest_s = max(tally.slowest_s, seconds)
    tally.peak_mb = max(tally.peak_mb, peak_mb)


def suffer(job: Job) -> tuple[str, float, float, str | None]:
    """Runs in the worker: makes the mutant and hands it over. Returns its fate, seconds, MiB at the highest, and, of a
    C3D or EDF file, whether other values were told."""
    content, sound = mutant(job)
    began = perf_counter()
    what = fate(job.target, content, job.number % THOROUGH_EVERY == 0)
    seconds = perf_counter() - began
    told = silence(job.target, content, sound)
    return what, seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, told


def mutant(job: Job) -> tuple[bytes, bytes]:
    """The bytes of one mutant and of the sound file it was made from; the same for the same job, whatever else runs."""
    rng = other_mutants.seeded(crc32(f"{job.target} {job.kind}".encode()), job.number)
    sound = sound_files(job.target)
    if job.target != "c3d":
        make, _ = other_mutants.KINDS[job.target][job.kind]
        one, two = sound[rng.integers(len(sound))], sound[rng.integers(len(sound))]
        return make(one, two, rng), one
    # what is judged whole must be a trial of a laboratory whose profile there is, or its outcomes are never reached
    first = sound[rng.integers(DEMO_FILES if job.number % THOROUGH_EVERY == 0 else len(sound))]
    other = sound[rng.integers(len(sound))]
    content = c3d_mutants.KINDS[job.kind](first, other, rng)
    return (c3d_mutants.change_bytes(content, other, rng) if content and rng.random() < 0.1 else content), first


@cache
def sound_files(target: str) -> list[bytes]:
    """The sound files that are made into hostile ones: the demonstration's, and for C3D the public sample files."""
    if target == "yaml":
        return [(DEMO / "study.yaml").read_bytes()]
    archives = [path.read_bytes() for path in sorted((DEMO / "inbox").glob("*/*-00[15].zip"))]
    if target == "zip":
        return [data for data in archives if len(data) < MOST_BYTES]
    members = [pair for path in sorted((DEMO / "inbox").glob("*/*-00[135].zip")) for pair in _members(path)]
    if target == "csv":
        return [name.encode() + b"\0" + data for name, data in members if name.endswith(".csv")]
    ending = {"c3d": ".c3d", "edf": ".edf", "json": "datapackage.json"}[target]
    found = [data for name, data in members if name.endswith(ending)][: DEMO_FILES if target == "c3d" else None]
    if target == "c3d" and CORPUS.is_dir():
        corpus = sorted(path for path in CORPUS.rglob("*") if path.suffix.lower() == ".c3d")
        found += [path.read_bytes() for path in corpus if path.stat().st_size < MOST_BYTES]
    return found


def _members(path: Path) -> Iterator[tuple[str, bytes]]:
    with zipfile.ZipFile(path) as archive:
        for name in sorted(archive.namelist()):
            if "/data/" in name and not name.endswith("/"):
                yield name.rpartition("/")[2], archive.read(name)
