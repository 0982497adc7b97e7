"""One writer at a time: a lock on a file that the system gives back when its holder ends, however it ends."""

from __future__ import annotations

import errno
import json
import os
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from pipelines.errors import Unusable

#: The system's record lock is one per process, so a second holder in the same process is refused here.
_held_here: set[Path] = set()


@contextmanager
def held(path: Path, actor: str, wait_s: float = 0.0) -> Iterator[None]:
    """Hold the lock ``path``. Raises Unusable naming the holder if another has it for longer than ``wait_s``."""
    import fcntl

    path = path.resolve()
    if path in _held_here:
        raise _refusal(path, f"process {os.getpid()} (this one)")
    # a record lock (lockf), not flock: worker processes forked by the holder must not inherit it
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        until = time.monotonic() + wait_s
        while True:
            try:
                fcntl.lockf(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except OSError as error:
                if error.errno not in (errno.EACCES, errno.EAGAIN):
                    raise
                if time.monotonic() >= until:
                    raise _refusal(path, _holder(handle)) from None
                time.sleep(0.2)
        _held_here.add(path)
        who = {
            "pid": os.getpid(),
            "host": socket.gethostname(),
            "actor": actor,
            "since_utc": datetime.now(UTC).isoformat(timespec="seconds"),
        }
        os.ftruncate(handle, 0)
        os.pwrite(handle, json.dumps(who).encode(), 0)
        yield
    finally:
        _held_here.discard(path)
        os.close(handle)


def _holder(handle: int) -> str:
    try:
        who = json.loads(os.pread(handle, 4096, 0))
        return f"process {who['pid']} on {who['host']}, started by {who['actor']} at {who['since_utc']}"
    except (ValueError, KeyError, TypeError):
        return "another process"


def _refusal(path: Path, holder: str) -> Unusable:
    return Unusable(
        f"Another run is writing to this depot: {holder}.",
        "one writer at a time.",
        "Wait until it has ended, then run again. Reading (query, pages) is always possible.",
        file=path.parent,
    )
