"""Who may read what is written in a depot: its owner and the group of the owner, and some of it only the owner."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_OTHERS = 0o027  # may not write for the group, nor anything for everybody


@contextmanager
def nothing_for_everybody() -> Iterator[None]:
    """What is written meanwhile has 0750 and 0640, or less where the umask already says so."""
    before = os.umask(0o077)
    os.umask(before | _OTHERS)
    try:
        yield
    finally:
        os.umask(before)


def only_for_the_owner(folder: Path) -> None:
    """Make ``folder`` unless it is there, so that nobody but the depot's owner can look into it."""
    folder.mkdir(parents=True, exist_ok=True)
    if stat.S_IMODE(folder.stat().st_mode) != stat.S_IRWXU:
        folder.chmod(stat.S_IRWXU)
