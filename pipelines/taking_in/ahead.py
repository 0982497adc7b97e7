"""The next delivery's trials are begun while the one before is judged, so that no worker waits for a delivery to end.

What is begun rests on what the books say so far. When the delivery's turn comes it is gated anew, and only the results
of tasks that turn out the same are used; the engine drops the rest. So looking ahead changes when work is done, and
never what comes of it.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk, Opened
from pipelines.taking_in.naming import same_content
from pipelines.taking_in.stages import gate, layout_of

Opener = Callable[[Path], Opened]


class Ahead:
    """Opens deliveries, one ahead of those that are judged. keep: opened folders stay in ``work/`` if set."""

    def __init__(self, desk: Desk, *, keep: bool = False) -> None:
        self._desk, self._keep = desk, keep
        self._next: tuple[str, Opened, Path] | None = None

    def begin(self, name: str, opener: Opener, before: Record | None = None) -> None:
        """Open a delivery and begin its trials. What cannot be done now is left for its turn, which will say why.

        before: its record if the depot holds it.
        """
        self.drop()
        work = self._desk.depot.new_work("ahead")
        try:
            opened = opener(work)
            self._next = (name, opened, work)
            if before is None and same_content(opened, self._desk.books) is not None:
                return
            gated = gate(self._desk, opened, before)
            if not gated.stops:
                layout = layout_of(self._desk, gated)
                self._desk.engine.ahead(layout.first, layout.second)
        except Exception:
            self.drop()

    @contextmanager
    def opened(self, name: str, opener: Opener) -> Iterator[Opened]:
        """The delivery, opened ahead of time or now."""
        if self._next is not None and self._next[0] == name:
            (_, opened, work), self._next = self._next, None
        else:
            self.drop()
            work = self._desk.depot.new_work("opened")
            opened = None
        try:
            yield opened if opened is not None else opener(work)
        finally:
            if not self._keep:
                shutil.rmtree(work, ignore_errors=True)

    def drop(self) -> None:
        """Forget what was begun and not asked for."""
        if self._next is not None:
            shutil.rmtree(self._next[2], ignore_errors=True)
            self._next = None
        self._desk.engine.forget()
