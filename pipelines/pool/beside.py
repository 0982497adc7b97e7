"""A process that computes what needs the whole pool while the caller fills tables; what it is given is in the callers.

Importing what checks of whole sites need costs seconds, so it is started while deliveries are still judged
(``pipelines.pool.readied``). It changes nothing of a depot, so that no kill leaves a second writer: arguments and
answers are plain values.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from types import TracebackType
from typing import TypeVar

from pipelines.workers.isolation import Isolated

Argument = TypeVar("Argument")
Answer = TypeVar("Answer")


class Beside:
    """One such process, started when it is first needed; use it as a context manager."""

    #: s and MiB: far more than ten thousand trials need; without a limit a fault of ours would hold the depot for ever.
    TIME_LIMIT_S, MEMORY_LIMIT_MB = 1800.0, 8192

    def __init__(self) -> None:
        self._process: Isolated | None = None

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._process is not None:
            self._process.__exit__(kind, error, at)

    @property
    def is_there(self) -> bool:
        """Whether the process was started."""
        return self._process is not None

    def get_ready(self) -> None:
        """Begin to import what checks of whole sites need."""
        self._isolated().schedule(_get_ready, None)

    def begin(self, function: Callable[[Argument], Answer], argument: Argument) -> Callable[[], Answer]:
        """Begin what a function of a module says of an argument; its answer is what this returns gives.

        That raises RuntimeError if it broke.
        """
        process = self._isolated()
        future = process.schedule(function, argument)

        def answer() -> Answer:
            ended = process.ended(future)
            if ended.problem is not None:
                raise RuntimeError(f"{function.__name__} was not carried out: {ended.detail}")
            found: Answer = ended.value
            return found

        return answer

    def begin_if_there(self, function: Callable[[Argument], Answer], argument: Argument) -> Callable[[], Answer]:
        """The same; here and when it is asked for if no process was started, which takes longer than a little work."""
        return self.begin(function, argument) if self.is_there else partial(function, argument)

    def _isolated(self) -> Isolated:
        if self._process is None:
            self._process = Isolated(1, self.TIME_LIMIT_S, self.MEMORY_LIMIT_MB).__enter__()
        return self._process


def _get_ready(_: None) -> None:
    from checks.site.expectations import get_ready

    get_ready()
