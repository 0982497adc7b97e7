"""Hashes the file of SQLite's books without letting go of the locks that SQLite holds on it.

A process loses all its locks on a file as soon as it closes *any* descriptor of it (section 2.2 of
https://www.sqlite.org/howtocorrupt.html). Somebody who then reads the books and leaves takes himself for the last one,
and removes the log into which this process goes on writing: what it wrote is lost. So a descriptor by which an open
file is hashed stays open as long as the books do.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from pathlib import Path

_PORTION = 1 << 20  # bytes


@dataclass
class _Held:
    """How many have the books open in this process, and by which descriptors the file was hashed, the last one last."""

    times: int = 0
    descriptors: list[int] = field(default_factory=list)


_HELD: dict[Path, _Held] = {}


def hold(books: Path) -> None:
    """Note, before a connection is made, that the books are open in this process."""
    _HELD.setdefault(books, _Held()).times += 1


def let_go(books: Path) -> None:
    """Note that the connections are closed."""
    held = _HELD[books]
    held.times -= 1
    if held.times == 0:
        del _HELD[books]
        _close(held)


def sha256_of_books(books: Path) -> str:
    """The checksum of the file of the books, open in this process or not. Raises OSError."""
    held = _HELD.get(books, _Held())
    try:
        if not held.descriptors or not os.path.samestat(os.fstat(held.descriptors[-1]), books.stat()):
            held.descriptors.append(os.open(books, os.O_RDONLY))
        return _hashed(held.descriptors[-1])
    finally:
        if held.times == 0:
            _close(held)


def _hashed(descriptor: int) -> str:
    found, start = hashlib.sha256(), 0
    while portion := os.pread(descriptor, _PORTION, start):
        found.update(portion)
        start += len(portion)
    return found.hexdigest()


def _close(held: _Held) -> None:
    while held.descriptors:
        os.close(held.descriptors.pop())
