"""How a run shows that it is under way: bars on a terminal, plain lines elsewhere, nothing by default."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any


class Progress:
    """Shows nothing. ``delivery`` gives a function to call with (done, of)."""

    @contextmanager
    def delivery(self, name: str) -> Iterator[Callable[[int, int], None]]:
        """Around the work on one delivery."""
        yield lambda done, of: None

    def say(self, what: str) -> None:
        """A step that is not about a delivery."""


class PlainProgress(Progress):
    """One line at the start and the end of each delivery and after ``every`` trials, on standard error."""

    def __init__(self, every: int = 25) -> None:
        self.every = every

    @contextmanager
    def delivery(self, name: str) -> Iterator[Callable[[int, int], None]]:
        """Around the work on one delivery."""
        self.say(name)
        seen = [0]

        def tell(done: int, of: int) -> None:
            seen[0] = done
            if done == of or done % self.every == 0:
                self.say(f"{name}: {done} of {of} trials judged")

        yield tell

    def say(self, what: str) -> None:
        """A step that is not about a delivery."""
        print(what, file=sys.stderr, flush=True)


class BarProgress(Progress):
    """One bar per delivery, on a terminal."""

    def __init__(self, bars: Any) -> None:
        self.bars = bars

    @contextmanager
    def delivery(self, name: str) -> Iterator[Callable[[int, int], None]]:
        """Around the work on one delivery."""
        task = self.bars.add_task(name, total=None)
        yield lambda done, of: self.bars.update(task, completed=done, total=of)
        self.bars.update(task, completed=1, total=1, refresh=True)

    def say(self, what: str) -> None:
        """A step that is not about a delivery."""
        self.bars.add_task(what, total=None)


@contextmanager
def shown(every: int = 25) -> Iterator[Progress]:
    """Bars if standard error is a terminal, plain lines if not, one after ``every`` trials."""
    if not sys.stderr.isatty():
        yield PlainProgress(every)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, SpinnerColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    columns = (
        SpinnerColumn(finished_text=" "),
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    with Bars(*columns, console=Console(stderr=True)) as bars:
        yield BarProgress(bars)
