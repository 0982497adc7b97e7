"""Hostile input is read in worker processes with a limit on time and memory: a crash is an answer, not an outage.

Knows nothing of C3D. Built on pebble's process pool, which replaces a worker that dies and stops one that hangs.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import TimeoutError as TooSlow
from dataclasses import dataclass
from typing import Any

from pipelines import logs
from schemas.reading import Problem

log = logging.getLogger(__name__)

#: Set for the workers, which inherit them, unless somebody chose otherwise. pyarrow's own pool takes a GiB of the
#: addresses a worker may have before it holds a byte. Every core has a worker already: threads of linear algebra would
#: only take it from another one, and products as small as a trial's are slower with them.
_INHERITED = {
    "ARROW_DEFAULT_MEMORY_POOL": "system",
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
}


@dataclass(frozen=True)
class Ended:
    """How one job ended: ``value`` when ``problem`` is None, else ``detail``, a plain sentence without full stop."""

    value: Any = None
    problem: Problem | None = None
    detail: str = ""


class Isolated:
    """A pool of worker processes; use it as a context manager.

    memory_limit_mb: MiB a worker may take beyond what it holds when it starts. Functions and arguments must be
    picklable, so functions stand at the top level of a module.
    """

    def __init__(self, workers: int, time_limit_s: float, memory_limit_mb: int) -> None:
        self.workers, self.time_limit_s, self.memory_limit_mb = workers, time_limit_s, memory_limit_mb
        self._pool: Any = None
        self._beginning: threading.Thread | None = None

    def __enter__(self) -> Isolated:
        from pebble import ProcessPool

        for name, value in _INHERITED.items():
            os.environ.setdefault(name, value)
        methods = multiprocessing.get_all_start_methods()
        context = multiprocessing.get_context("forkserver" if "forkserver" in methods else "spawn")
        self._pool = ProcessPool(
            max_workers=self.workers,
            context=context,
            initializer=_limit_memory,
            initargs=(self.memory_limit_mb,),
        )
        return self

    def __exit__(self, *_: object) -> None:
        if self._beginning is not None:
            self._beginning.join()
        self._pool.stop()
        self._pool.join()

    def begin(self) -> None:
        """Start the workers while the caller does something else; else the first job waits for them."""
        self._beginning = threading.Thread(target=self.schedule, args=(_nothing, None))
        self._beginning.start()

    def run(self, function: Callable[[Any], Any], argument: Any, time_limit_s: float | None = None) -> Ended:
        """Run one job and wait for it; time_limit_s: instead of the pool's. Never raises what the job raises."""
        return self.ended(self.schedule(function, argument, time_limit_s))

    def map(self, function: Callable[[Any], Any], arguments: Iterable[Any]) -> Iterator[Ended]:
        """Run many jobs at once; yields how each ended, in the order of ``arguments``."""
        for future in [self.schedule(function, argument) for argument in arguments]:
            yield self.ended(future)

    def schedule(self, function: Callable[[Any], Any], argument: Any, time_limit_s: float | None = None) -> Any:
        """Begin one job; how it ended is told by ``ended`` of what this returns, a future."""
        return self._pool.schedule(_guarded, args=(function, argument), timeout=time_limit_s or self.time_limit_s)

    def ended(self, future: Any) -> Ended:
        """Wait for one job that was begun. Never raises what the job raises."""
        ended = self._ended(future)
        if ended.problem is not None:
            log.warning("A job in a worker did not come to its end.", extra=logs.facts(problem=ended.problem))
        return ended

    def _ended(self, future: Any) -> Ended:
        from pebble import ProcessExpired

        try:
            ended: Ended = future.result()
            return ended
        except TooSlow as end:
            _, seconds = end.args
            return Ended(problem="too_slow", detail=f"it took longer than {seconds:g} s")
        except ProcessExpired as end:
            return Ended(problem="crashed", detail=f"the reading process ended abruptly (code {end.exitcode})")
        except MemoryError:
            return Ended(problem="too_large", detail=f"it needed more than {self.memory_limit_mb} MiB of memory")
        except Exception as problem:  # the job's value could not be sent back
            return Ended(problem="crashed", detail=f"{type(problem).__name__}: {problem}")


def _nothing(_: None) -> None:
    """The job of a worker that only starts."""


def _guarded(function: Callable[[Any], Any], argument: Any) -> Ended:
    """Runs in the worker: turns exceptions into plain results, so that none has to be sent across."""
    from pipelines.workers.problem import FileProblem

    try:
        return Ended(function(argument))
    except FileProblem as problem:
        return Ended(problem=problem.problem, detail=problem.detail)
    except MemoryError:
        return Ended(problem="too_large", detail="it needed more memory than one trial may take")
    except FileNotFoundError as problem:
        return Ended(problem="missing", detail=f"there is no file {problem.filename}")
    except Exception as problem:
        return Ended(problem="crashed", detail=f"{type(problem).__name__}: {problem}")


def _limit_memory(limit_mb: int) -> None:
    """Allow the worker this much address space beyond what it holds now. Does nothing where the system has no limit."""
    try:
        import resource
    except ImportError:  # not on Windows
        return
    limit = _address_space() + limit_mb * 2**20
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard != resource.RLIM_INFINITY:
        limit = min(limit, hard)
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))


def _address_space() -> int:
    """Bytes of address space this process holds; 1 GiB where the system does not tell."""
    try:
        with open("/proc/self/statm", encoding="ascii") as file:
            pages = int(file.read().split()[0])
    except OSError:
        return 2**30
    import resource

    return pages * resource.getpagesize()
