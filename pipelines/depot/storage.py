"""The depot: every path in it, and the only ways of writing there.

Whatever is written is written beside its place, synced, and renamed, so that it is there whole or not at all. A kill at
any moment leaves at most rests, which the next writer clears, and a result that the books do not know, which it takes
back (how: ``pipelines.depot.books``). What the files mean is not known here.

::

    raw/ab/<sha256>          trial files and tables as they came, never changed
    closed/<delivery>/       bytes that consent does not cover, by checksum; nothing is derived from them
    deliveries/<delivery>/   the result of one delivery: bag/ (its tag files), one Parquet file per table
    books.sqlite, books.id   what the depot knows (``pipelines.depot.books``), and the word by which both are known
    releases/                frozen versions
    work/                    being made
    warehouse.duckdb, pages/, depot.lock, dagster/
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot.addresses import local_path, named_register
from pipelines.depot.modes import nothing_for_everybody, only_for_the_owner
from pipelines.errors import Unusable
from schemas.model import Table

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.depot.books.book import Books

#: Names the database with the books, if it is not in the depot's folder.
BOOKS_VARIABLE = "MANYSTRIDES_BOOKS"
_CHUNK = 1 << 20


class Depot:
    """The folder that holds everything, and the books that say what it means.

    root: a path, or a ``file://`` URL. books_url: where the books are, if not in the folder; left out, the environment
    variable MANYSTRIDES_BOOKS is asked. register: the file beside it (``pipelines.depot.register``); left out,
    MANYSTRIDES_REGISTER is asked.
    """

    def __init__(
        self, root: str | os.PathLike[str], books_url: str | None = None, register: Path | None = None
    ) -> None:
        self.root = local_path(os.fspath(root))
        self.register = register or named_register() or self.root.with_name(f"{self.root.name}.register")
        self.books_url = books_url or os.environ.get(BOOKS_VARIABLE) or None
        self._books: Books | None = None
        self.raw = self.root / "raw"
        self.closed = self.root / "closed"
        self.deliveries = self.root / "deliveries"
        self.work = self.root / "work"
        self.inbox = self.root / "inbox"
        self.pages = self.root / "pages"
        self.warehouse = self.root / "warehouse.duckdb"
        self.releases = self.root / "releases"
        self.dagster_home = self.root / "dagster"
        self.lock_file = self.root / "depot.lock"

    @property
    def books(self) -> Books:
        """What the depot knows; only inside ``opened`` or ``writing``."""
        if self._books is None:
            raise RuntimeError("the depot must be opened before its books are asked")
        return self._books

    @property
    def exists(self) -> bool:
        """Whether there is a depot at all."""
        from pipelines.depot.books.opening import FILE, WORD

        return (self.root / WORD).exists() or (self.root / FILE).exists()

    @contextmanager
    def opened(self) -> Iterator[Books]:
        """The books, to ask them; whoever writes needs ``writing``. One inside another is the same."""
        if self._books is not None:
            yield self._books
            return
        from pipelines.depot.books.opening import open_books

        self._books = open_books(self.root, self.books_url)
        try:
            yield self._books
        finally:
            self._books.close()
            self._books = None

    def raw_path(self, sha256: str) -> Path:
        """Where the bytes with this checksum are, or would be."""
        return self.raw / sha256[:2] / sha256

    def closed_path(self, delivery_id: str, sha256: str) -> Path:
        """Where bytes of a delivery are that consent does not cover."""
        return self.closed / delivery_id / sha256

    def delivery_path(self, delivery_id: str) -> Path:
        """The result folder of a delivery."""
        return self.deliveries / delivery_id

    def table_path(self, delivery_id: str, table: Table) -> Path:
        """The Parquet file of one table of one delivery."""
        return self.delivery_path(delivery_id) / f"{table.name}.parquet"

    def release_path(self, name: str) -> Path:
        """Where a release lies."""
        return self.releases / name

    def delivery_ids(self) -> list[str]:
        """All deliveries with a result, by name."""
        return sorted(p.name for p in self.deliveries.iterdir()) if self.deliveries.is_dir() else []

    def new_work(self, name: str) -> Path:
        """A new empty folder in ``work/``."""
        folder = self.work / f"{name}.{secrets.token_hex(4)}"
        only_for_the_owner(self.work)
        folder.mkdir()
        return folder

    @contextmanager
    def working(self, name: str) -> Iterator[Path]:
        """A new empty folder in ``work/`` that is gone afterwards: an opened delivery holds bytes of every kind."""
        folder = self.new_work(name)
        try:
            yield folder
        finally:
            remove_folder(folder)

    def store_raw(self, source: Path, sha256: str) -> Path:
        """Copy ``source`` into the raw store unless it is there; its bytes must have this checksum."""
        return self._store(source, self.raw_path(sha256), sha256)

    def store_closed(self, source: Path, delivery_id: str, sha256: str) -> Path:
        """Copy ``source`` to the bytes kept apart, readable only by the owner of the depot."""
        target = self._store(source, self.closed_path(delivery_id, sha256), sha256)
        only_for_the_owner(self.closed)
        target.parent.chmod(stat.S_IRWXU)
        return target

    def _store(self, source: Path, target: Path, sha256: str) -> Path:
        if target.exists() and target.stat().st_size == source.stat().st_size:
            return target
        target.parent.mkdir(parents=True, exist_ok=True)
        with self.working("blob") as folder:
            beside = folder / sha256
            if (now := _copy(source, beside)) != sha256:
                raise Unusable(
                    f"The file changed while it was taken in: its checksum was {sha256[:12]}, now {now[:12]}.",
                    "the bytes that were checked on arrival.",
                    "Wait until the upload is finished, then run again.",
                    file=source,
                )
            beside.chmod(stat.S_IRUSR | stat.S_IRGRP)
            beside.replace(target)
        to_disk(target.parent)
        return target

    @contextmanager
    def alone(self, actor: str, wait_s: float = 0.0) -> Iterator[None]:
        """Hold the depot so that nobody writes, whatever state it is in; nothing is compared or mended."""
        from pipelines.depot.lock import held

        with nothing_for_everybody(), held(self.lock_file, actor, wait_s):
            yield

    @contextmanager
    def writing(self, actor: str, wait_s: float = 0.0) -> Iterator[None]:
        """Be the depot's only writer. Raises Unusable, naming the holder, if another still is after ``wait_s``.

        What is written meanwhile is for the owner and its group at most: folders 0750, files 0640, or tighter where the
        umask already says so.
        """
        from pipelines.depot.exchange import mend
        from pipelines.depot.guarding import books_proved
        from pipelines.depot.lock import held

        with nothing_for_everybody():
            self.root.mkdir(parents=True, exist_ok=True)
            with (
                held(self.lock_file, actor, wait_s),
                books_proved(self) as guarded,
                self.opened() as books,
                books.my_turn(self.lock_file, actor, wait_s),
                guarded(),
            ):
                mend(self)
                yield


def write_bytes(path: Path, content: bytes, *, sync: bool = True, owner_only: bool = False) -> None:
    """Replace the file ``path`` by ``content`` in one step. sync False: whoever publishes its folder syncs it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        with beside.open("xb") as stream:
            if owner_only:
                beside.chmod(stat.S_IRUSR | stat.S_IWUSR)
            stream.write(content)
            stream.flush()
            if sync:
                os.fsync(stream.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
    if sync:
        to_disk(path.parent)


def write_table(table: Table, frame: pd.DataFrame, path: Path, *, sync: bool = True) -> None:
    """Write ``frame`` as Parquet; the only Parquet writer. sync: as in ``write_bytes``.

    Raises ValueError if the rows do not fit the definition or a key stands twice.
    """
    import io

    import pyarrow.parquet as parquet

    from schemas.convert.to_arrow import to_arrow_table

    doubled = frame.duplicated(list(table.key))
    if doubled.any():
        first = frame.loc[doubled, list(table.key)].iloc[0].to_dict()
        raise ValueError(f"table {table.name}: {int(doubled.sum())} rows repeat a key, first {first}")
    buffer = io.BytesIO()
    parquet.write_table(to_arrow_table(table, frame), buffer, compression="zstd")
    write_bytes(path, buffer.getvalue(), sync=sync)


def read_table(path: Path) -> pd.DataFrame:
    """A Parquet file as a data frame."""
    import pyarrow.parquet as parquet

    frame: pd.DataFrame = parquet.read_table(path).to_pandas()
    return frame


def sync_folder(folder: Path) -> None:
    """Make sure everything below ``folder`` is on the disk."""
    for path in (*folder.rglob("*"), folder):
        to_disk(path)


def to_disk(path: Path) -> None:
    """Make sure that a file, or the names in a folder, are on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _copy(source: Path, target: Path) -> str:
    """Copy and sync; returns the SHA-256 of what was copied."""
    digest = hashlib.sha256()
    with source.open("rb") as incoming, target.open("xb") as outgoing:
        while chunk := incoming.read(_CHUNK):
            digest.update(chunk)
            outgoing.write(chunk)
        outgoing.flush()
        os.fsync(outgoing.fileno())
    return digest.hexdigest()


def remove_folder(folder: Path) -> None:
    """Delete a folder; tried again for a moment, as a network disk may hold a file open."""
    for pause in (0.0, 0.2, 1.0):
        time.sleep(pause)
        shutil.rmtree(folder, ignore_errors=True) if folder.is_dir() else folder.unlink(missing_ok=True)
        if not folder.exists():
            return
