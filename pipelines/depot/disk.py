"""What a real disk needs beyond writing: that bytes and names reach it, and that folders go although a disk is slow.

A file that belongs to no store is written here, too (``write_bytes``): a laboratory's installation has no filesystems
but its own.
"""

from __future__ import annotations

import hashlib
import io
import os
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO

_CHUNK = 1 << 20


class OtherBytesError(Exception):
    """The bytes that came in are not those that were to come; nothing was written. now: their SHA-256."""

    def __init__(self, now: str) -> None:
        super().__init__(f"SHA-256 {now}")
        self.now = now


def write_bytes(path: Path, content: bytes, *, owner_only: bool = False) -> None:
    """Replace the file ``path``, which belongs to no store, by ``content`` in one step."""
    write_whole(path, io.BytesIO(content), mode=0o600 if owner_only else None)


def write_whole(
    target: Path,
    incoming: IO[bytes],
    sha256: str | None = None,
    *,
    beside: Path | None = None,
    mode: int | None = None,
    sync: bool = True,
) -> None:
    """Put what a stream brings in place of ``target``, whole or not at all. Raises OtherBytesError.

    sha256: that the bytes must have; beside: folder of the same disk in which it is written first, if not next to it;
    mode: who may read it, if not as the umask says; sync False: whether it has reached the disk is left to the caller.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    part = (beside or target.parent) / f".{target.name}.{secrets.token_hex(8)}"
    try:
        with part.open("xb") as outgoing:
            if mode is not None:
                part.chmod(mode)
            now = copied(incoming, outgoing)
            if sync:
                outgoing.flush()
                os.fsync(outgoing.fileno())
        if sha256 is not None and now != sha256:
            raise OtherBytesError(now)
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    if sync:
        to_disk(target.parent)


def copied(incoming: IO[bytes], outgoing: IO[bytes]) -> str:
    """Copy one stream to another. Returns the SHA-256 of what came."""
    digest = hashlib.sha256()
    while chunk := incoming.read(_CHUNK):
        digest.update(chunk)
        outgoing.write(chunk)
    return digest.hexdigest()


def sync_tree(path: Path) -> None:
    """Make sure that a file, or everything below a folder, is on the disk."""
    for part in (*path.rglob("*"), path) if path.is_dir() else (path,):
        to_disk(part)


def to_disk(path: str | os.PathLike[str]) -> None:
    """Make sure that a file, or the names in a folder, are on the disk."""
    if os.name == "nt" and os.path.isdir(path):  # Windows opens no folder, and keeps names by itself
        return
    handle = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
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
