"""Sees who opens, makes, renames or removes a file that a depot keeps: Python tells it of each such call.

Not seen: what libraries in C do with a path, as DuckDB and pyarrow, which are given files to read; and other processes.
"""

from __future__ import annotations

import os
import sys
from functools import cache
from pathlib import Path
from types import FrameType

from pipelines.depot import keys
from pipelines.depot.books.where import WORD

REPO = Path(__file__).resolve().parents[2]
KEPT = {keys.RAW, keys.CLOSED, keys.DELIVERIES, keys.RELEASES, *keys.BUILT}
LAYER, ITS_HELPS = "pipelines/depot/store.py", ("pipelines/depot/disk.py", "pipelines/depot/modes.py")
#: Calls of Python that come with one or two paths.
CALLS = {
    *("open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "os.link", "os.symlink", "os.truncate"),
    *("shutil.rmtree", "shutil.move", "shutil.copyfile"),
}


class Watch:
    """What went past the layer since it was last asked."""

    def __init__(self) -> None:
        self._found: list[str] = []

    def __call__(self, event: str, args: tuple[object, ...]) -> None:
        if event not in CALLS:
            return
        for given in args[:2]:
            path = os.fsdecode(given) if isinstance(given, (str, bytes, os.PathLike)) else ""
            if path and (kept := _kept(path)) and (who := _who(sys._getframe(1))) is not None:
                self._found.append(f"{who}: {event} {kept}")

    def taken(self) -> list[str]:
        """What was found; forgotten then."""
        found, self._found = self._found, []
        return found


def _kept(path: str) -> str | None:
    """The key of a path inside a depot, if it is one under which bytes are kept."""
    parts = Path(path).parts
    for place, name in enumerate(parts):
        if name in KEPT and os.path.exists(os.path.join(*parts[:place], WORD)):
            return "/".join(parts[place:])
    return None


def _who(frame: FrameType | None) -> str | None:
    """The module of ours that made the call, unless it is the layer or a test."""
    while frame is not None:
        name = frame.f_code.co_filename
        own = name.removeprefix(f"{REPO}/")
        if own.startswith(("tests/", "benchmarks/")) or own == LAYER:
            return None
        if own.startswith("pipelines/") and own not in ITS_HELPS:
            return own
        frame = frame.f_back
    return None


@cache
def watch() -> Watch:
    """The one watch of this process: Python never lets go of one."""
    made = Watch()
    sys.addaudithook(made)
    return made
