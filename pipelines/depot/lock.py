"""One writer at a time: a lock on a file that the system gives back when its holder ends, however it ends.

The library filelock holds it; worker processes that are forked meanwhile do not keep it. Who holds it is written into
the file, so that a refusal can name them. On a disk without such locks it is refused to go on.
"""

from __future__ import annotations

import errno
import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from pipelines.errors import Unusable

_PAUSE_S = 0.2


@contextmanager
def held(path: Path, actor: str, wait_s: float = 0.0) -> Iterator[None]:
    """Hold the lock ``path``. Raises Unusable naming the holder if another has it for longer than ``wait_s``."""
    from filelock import FileLock, Timeout

    lock = FileLock(path.resolve(), fallback_to_soft=False, thread_local=False)
    try:
        lock.acquire(timeout=wait_s, poll_interval=_PAUSE_S)
    except Timeout:
        raise refusal(path, _holder(path)) from None
    except OSError as error:
        if error.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
            raise
        raise Unusable(
            "This user may not write to the depot, or its disk is read-only.",
            "a folder that may be written to.",
            "Run it as the depot's owner, or on a copy of the depot; sql, verify and ledger only read.",
            file=path.parent,
        ) from None
    try:
        path.write_text(json.dumps(_myself(actor)), encoding="utf-8")
        yield
    finally:
        lock.release()


@contextmanager
def shared(path: Path) -> Iterator[None]:
    """Keep writers away, for one who may not write here: several may at a time. Raises Unusable naming a writer."""
    import fcntl

    try:
        handle = os.open(path, os.O_RDONLY)
    except FileNotFoundError:  # nobody has written here yet, and this user cannot
        yield
        return
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            raise refusal(path, _holder(path)) from None
        yield
    finally:
        os.close(handle)


def refusal(path: Path, holder: str) -> Unusable:
    """That somebody else is writing to the depot whose lock is ``path``."""
    return Unusable(
        f"Another run is writing to this depot: {holder}.",
        "one writer at a time.",
        "Wait until it has ended, then run again. Reading (sql, pages) is always possible.",
        file=path.parent,
    )


def _myself(actor: str) -> dict[str, str | int]:
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return {"pid": os.getpid(), "host": socket.gethostname(), "actor": actor, "since_utc": now}


def _holder(path: Path) -> str:
    try:
        who = json.loads(path.read_text(encoding="utf-8"))
        return f"process {who['pid']} on {who['host']}, started by {who['actor']} at {who['since_utc']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process"
