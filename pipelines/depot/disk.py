"""What a real disk needs beyond writing: that bytes and names reach it, and that folders go although a disk is slow."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path


def sync_tree(path: Path) -> None:
    """Make sure that a file, or everything below a folder, is on the disk."""
    for part in (*path.rglob("*"), path) if path.is_dir() else (path,):
        to_disk(part)


def to_disk(path: str | os.PathLike[str]) -> None:
    """Make sure that a file, or the names in a folder, are on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def remove_tree(path: Path) -> None:
    """Delete a folder or file; tried again for a moment, as a network disk may hold a file open."""
    for pause in (0.0, 0.2, 1.0):
        time.sleep(pause)
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with suppress(NotADirectoryError):  # a file has the name of a folder it would be in
                path.unlink(missing_ok=True)
        if not path.exists():
            return


def files_below(path: str) -> Iterator[str]:
    """Every path below a folder that is no folder, links and pipes among them; none if there is no such folder."""
    try:
        with os.scandir(path) as entries:
            for entry in entries:
                if entry.is_dir(follow_symlinks=False):
                    yield from files_below(entry.path)
                else:
                    yield entry.path
    except (FileNotFoundError, NotADirectoryError):
        return
