"""The next delivery's trials are begun while the one before is judged, so that no worker waits for a delivery to end.

What is begun rests on what the books say so far. When the delivery's turn comes they are asked again; if they say
something else it is gated anew, and only the results of tasks that turn out the same are used; the engine drops the
rest. So looking ahead changes when work is done, and never what comes of it.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk, Opened
from pipelines.taking_in.gating import Gated, gate
from pipelines.taking_in.naming import same_content
from pipelines.taking_in.stages import layout_of

Opener = Callable[[Path], Opened]


@dataclass(frozen=True)
class _Begun:
    """A delivery that was begun. work: its own folder."""

    name: str
    work: Path
    opened: Opened | None = None
    gated: Gated | None = None


class Ahead:
    """Opens deliveries, one ahead of those that are judged. keep: opened folders stay in ``work/`` if set."""

    def __init__(self, desk: Desk, *, keep: bool = False) -> None:
        self._desk, self._keep = desk, keep
        self._next: _Begun | None = None

    def begin(self, name: str, opener: Opener, before: Record | None = None) -> None:
        """Open a delivery and begin its trials. What cannot be done now is left for its turn, which will say why.

        before: its record if the depot holds it.
        """
        self.drop()
        work = self._desk.depot.new_work("ahead")
        try:
            opened = opener(work)
            self._next = _Begun(name, work, opened)
            if before is None and same_content(opened, self._desk.books) is not None:
                return
            gated = gate(self._desk, opened, before)
            self._next = _Begun(name, work, opened, gated)
            if not gated.stops:
                layout = layout_of(self._desk, gated)
                self._desk.engine.ahead(layout.first, layout.second)
        except Exception:
            self.drop()

    @contextmanager
    def opened(self, name: str, opener: Opener) -> Iterator[tuple[Opened, Gated | None]]:
        """The delivery, opened ahead of time or now, and how it was gated if it was."""
        if self._next is not None and self._next.name == name:
            begun, self._next = self._next, None
        else:
            self.drop()
            begun = _Begun(name, self._desk.depot.new_work("opened"))
        try:
            yield begun.opened if begun.opened is not None else opener(begun.work), begun.gated
        finally:
            if not self._keep:
                shutil.rmtree(begun.work, ignore_errors=True)

    def drop(self) -> None:
        """Forget what was begun and not asked for."""
        if self._next is not None:
            shutil.rmtree(self._next.work, ignore_errors=True)
            self._next = None
        self._desk.engine.forget()
