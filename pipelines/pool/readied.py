"""What bringing the warehouse up to date begins with, done while deliveries are still judged, since it hangs on none.

The old file is copied and proved in one go, which reads all of it, and the process for checks of whole sites imports
what it needs. ``pipelines.pool.build`` asks for both; where nothing was begun it waits for them there.
"""

from __future__ import annotations

import hashlib
import os
from concurrent.futures import Future, ThreadPoolExecutor
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from pipelines.depot import keys
from pipelines.depot.disk import remove_tree

if TYPE_CHECKING:
    from pipelines.depot.storage import Depot
    from pipelines.pool.beside import Beside

_CHUNK = 1 << 22


class Readied:
    """What is begun for the next build; use it as a context manager."""

    def __init__(self, depot: Depot) -> None:
        self._depot = depot
        self._threads = ThreadPoolExecutor(2, "readied")
        self._imports: Future[None] | None = None
        self._old: Future[tuple[Path, str | None]] | None = None

    def __enter__(self) -> Readied:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._threads.shutdown(cancel_futures=True)
        if self._old is not None and not self._old.cancelled() and self._old.exception() is None:
            remove_tree(self._old.result()[0].parent)
        if "beside" in vars(self):
            self.beside.__exit__(kind, error, at)

    @cached_property
    def beside(self) -> Beside:
        """Where sites are checked, and the plan carried out."""
        from pipelines.pool.beside import Beside  # only now: nothing new must cost nothing

        return Beside()

    def begin(self) -> None:
        """Begin with both, if that was not done before."""
        if self._old is None:
            self._old = self._threads.submit(self._copied)
            self._imports = self._threads.submit(self.beside.get_ready)  # which waits for the process to start

    def take_old(self, wanted: str | None, target: Path) -> bool:
        """Bring a copy of the old file to ``target``, if it has this checksum; each copy is good for one build."""
        copy, sha256 = (self._old or self._threads.submit(self._copied)).result()
        if self._imports is not None:
            self._imports.result()
        self._old = self._imports = None
        is_it = sha256 is not None and sha256 == wanted
        if is_it:
            os.replace(copy, target)
        remove_tree(copy.parent)
        return is_it

    def _copied(self) -> tuple[Path, str | None]:
        """A copy of the old file and its checksum; None if there is none."""
        store, target = self._depot.store, self._depot.new_work("old-warehouse") / keys.WAREHOUSE
        if not store.is_object(keys.WAREHOUSE):
            return target, None
        digest = hashlib.sha256()
        try:
            with store.open(keys.WAREHOUSE) as incoming, target.open("wb") as outgoing:
                while chunk := incoming.read(_CHUNK):
                    digest.update(chunk)
                    outgoing.write(chunk)
        except BaseException:
            remove_tree(target.parent)  # it may be what fills the disk
            raise
        return target, digest.hexdigest()
