"""What work on trials is given to: tasks in, how each ended out, as they end. The local pool of workers is one engine.

A task is plain values and a function at the top level of a module, with paths instead of signals, so that it can be
sent anywhere. Its key says which task it is: equal keys have equal results. So work can be begun ahead of time on what
is known so far; whoever asks for the same task later takes that result, and what turned out otherwise is dropped.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, as_completed
from dataclasses import dataclass
from typing import Any, Protocol

from pipelines.workers.isolation import Ended, Isolated

#: Given how the first tasks ended, by key: the tasks that follow from them.
Then = Callable[[Mapping[str, Ended]], Iterable["Task"]]


@dataclass(frozen=True)
class Task:
    """``function(argument)``, somewhere. key: the same for tasks whose results are equal."""

    key: str
    function: Callable[[Any], Any]
    argument: Any


EndedTask = tuple[Task, Ended]


class Engine(Protocol):
    """Where tasks are carried out. Never raises what a task raises: that is how it ended."""

    def results(self, tasks: Iterable[Task], meanwhile: Callable[[], None] | None = None) -> Iterator[EndedTask]:
        """Carry out tasks; yields each as it ends. meanwhile: called once when all are under way."""

    def ahead(self, tasks: Iterable[Task], then: Then | None = None) -> None:
        """Begin tasks that may be asked for later, after those already begun; then those that follow from them."""

    def forget(self) -> None:
        """Drop what was begun ahead of time and not asked for."""


class LocalEngine:
    """Carries tasks out in isolated worker processes of this machine."""

    def __init__(self, isolated: Isolated) -> None:
        self._isolated = isolated
        self._begun: dict[str, Future[Ended]] = {}
        self._lock = threading.Lock()

    def results(self, tasks: Iterable[Task], meanwhile: Callable[[], None] | None = None) -> Iterator[EndedTask]:
        """As ``Engine.results``."""
        waiting = {self._taken(task): task for task in tasks}
        if meanwhile is not None:
            meanwhile()
        for future in as_completed(waiting):
            yield waiting[future], self._isolated.ended(future)

    def ahead(self, tasks: Iterable[Task], then: Then | None = None) -> None:
        """As ``Engine.ahead``."""
        mine = {task.key: self._begin(task) for task in tasks}
        if then is None:
            return
        left = set(mine)

        def one_ended(key: str) -> None:
            with self._lock:
                left.discard(key)
                last = not left
            if last and not any(future.cancelled() for future in mine.values()):
                self.ahead(then({key: self._isolated.ended(future) for key, future in mine.items()}))

        for key, future in mine.items():
            future.add_done_callback(lambda _, key=key: one_ended(key))  # type: ignore[misc]
        if not mine:
            self.ahead(then({}))

    def forget(self) -> None:
        """As ``Engine.forget``."""
        with self._lock:
            begun, self._begun = self._begun, {}
        for future in begun.values():
            future.cancel()

    def _begin(self, task: Task) -> Future[Ended]:
        with self._lock:
            if task.key not in self._begun:
                self._begun[task.key] = self._isolated.schedule(task.function, task.argument)
            return self._begun[task.key]

    def _taken(self, task: Task) -> Future[Ended]:
        with self._lock:
            begun = self._begun.pop(task.key, None)
        return begun if begun is not None else self._isolated.schedule(task.function, task.argument)
