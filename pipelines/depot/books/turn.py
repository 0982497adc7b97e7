"""One writer at a time where the books are a database for several machines: an advisory lock of PostgreSQL.

It belongs to a connection, so the database gives it back when its holder ends or is cut off. The lock on the file
(``pipelines.depot.lock``) is held as well.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from pipelines.depot.books.book import told_plainly
from pipelines.depot.lock import refusal

_KEY = 0x6D616E79  # any number that no other program in this database uses
_LONGEST = 63  # bytes of a name that PostgreSQL keeps
_PAUSE_S = 0.2
_HOLDER = """
SELECT a.application_name FROM pg_locks l JOIN pg_stat_activity a USING (pid)
WHERE l.locktype = 'advisory' AND l.objid = :key AND l.granted
  AND l.database = (SELECT oid FROM pg_database WHERE datname = current_database())
"""


@contextmanager
def my_turn(engine: sa.Engine, lock_file: Path, actor: str, wait_s: float = 0.0) -> Iterator[None]:
    """Be the only writer of these books. Raises Unusable naming the holder if another still is after ``wait_s``."""
    if engine.dialect.name != "postgresql":
        yield
        return
    with told_plainly(engine), engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        name = f"process {os.getpid()} on {socket.gethostname()}, started by {actor}".encode()[:_LONGEST]
        words = {"name": name.decode(errors="ignore")}
        connection.execute(sa.text("SELECT set_config('application_name', :name, false)"), words)
        until = time.monotonic() + wait_s
        while connection.scalar(sa.text("SELECT pg_try_advisory_lock(:key)"), {"key": _KEY}) is not True:
            if time.monotonic() >= until:
                holder = connection.scalar(sa.text(_HOLDER), {"key": _KEY})
                raise refusal(lock_file, str(holder or "another process"))
            time.sleep(_PAUSE_S)
        try:
            yield
        finally:
            connection.execute(sa.text("SELECT pg_advisory_unlock(:key)"), {"key": _KEY})
