"""The depot: where everything of it is, who may write to it, and how its tables are written.

Bytes that are kept go through ``Depot.store`` (``pipelines.depot.store``), under the keys of ``pipelines.depot.keys``,
and are there whole or not at all. A kill at any moment leaves at most rests in ``work/``, which the next writer clears,
and a result that the books do not know, which it takes back (how: ``pipelines.depot.books``). What the files mean is
not known here.

Beside what is kept: ``books.sqlite`` and ``books.id``, what the depot knows (``pipelines.depot.books``) and the word by
which both are known; ``work/``, scratch; ``depot.lock``, ``log/``, ``dagster/``.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property, partial
from pathlib import Path
from typing import IO, TYPE_CHECKING, cast

from pipelines.depot import keys
from pipelines.depot.addresses import local_path, named_register
from pipelines.depot.disk import OtherBytesError, remove_tree
from pipelines.depot.modes import nothing_for_everybody, only_for_the_owner
from pipelines.depot.store import Store
from pipelines.errors import Unusable
from schemas.model import Table

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.depot.books.book import Books

#: Names the database with the books, if it is not in the depot's folder.
BOOKS_VARIABLE = "MANYSTRIDES_BOOKS"
#: Nobody changes what was kept once; of what consent does not cover nobody but the owner reads a byte.
READ_ONLY, CLOSED_ONLY = 0o440, 0o400


class Depot:
    """The folder that holds everything, and the books that say what it means.

    root: a path, or a ``file://`` URL. books_url: where the books are, if not in the folder; left out, the environment
    variable MANYSTRIDES_BOOKS is asked. register: the file beside it (``pipelines.depot.register``); left out,
    MANYSTRIDES_REGISTER is asked.
    """

    def __init__(
        self, root: str | os.PathLike[str], books_url: str | None = None, register: Path | None = None
    ) -> None:
        self.root = local_path(os.fspath(root)).resolve()
        self.register = register or named_register() or self.root.with_name(f"{self.root.name}.register")
        self.books_url = books_url or os.environ.get(BOOKS_VARIABLE) or None
        self._books: Books | None = None
        self.work = self.root / keys.WORK
        self.inbox = self.root / "inbox"
        self.dagster_home = self.root / "dagster"
        self.lock_file = self.root / "depot.lock"

    @cached_property
    def store(self) -> Store:
        """All bytes that are kept."""
        return Store.on_disk(self.root, beside=self.work)

    @property
    def warehouse(self) -> Path:
        """The warehouse as a file that DuckDB can open, to read."""
        return self.store.local(keys.WAREHOUSE)

    @property
    def pages(self) -> Store:
        """The pages."""
        return self.store.at(keys.PAGES)

    @property
    def safety(self) -> Store:
        """The page of the safety lead."""
        return self.store.at(keys.SAFETY)

    @property
    def outbox(self) -> Store:
        """What laboratories may be told."""
        return self.store.at(keys.OUTBOX)

    def result(self, delivery_id: str) -> Store:
        """The result of a delivery: one Parquet file per table, and the bag's own files."""
        return self.store.at(keys.result(delivery_id))

    @property
    def books(self) -> Books:
        """What the depot knows; only inside ``opened`` or ``writing``."""
        if self._books is None:
            raise RuntimeError("the depot must be opened before its books are asked")
        return self._books

    @property
    def exists(self) -> bool:
        """Whether there is a depot at all."""
        from pipelines.depot.books.where import FILE, WORD

        return (self.root / WORD).exists() or (self.root / FILE).exists()

    @property
    def may_write(self) -> bool:
        """Whether this user may write in the depot's folder."""
        return os.access(self.root, os.W_OK)

    @contextmanager
    def opened(self, *, to_write: bool = False) -> Iterator[Books]:
        """The books, to ask them; whoever writes needs ``writing``. One inside another is the same.

        to_write: by whoever holds the depot otherwise.
        """
        if self._books is not None:
            yield self._books
            return
        from pipelines.depot.books.opening import open_books
        from pipelines.depot.guarding import books_file_changes

        self._books = open_books(self.root, self.books_url, to_write=to_write)
        if to_write:
            self._books.changing_file = partial(books_file_changes, self)
        try:
            yield self._books
        finally:
            try:
                self._books.close()
            finally:
                self._books = None

    @contextmanager
    def unwritten(self) -> Iterator[None]:
        """A folder that is no depot, to judge in what nobody keeps: its books know nothing, and take nothing."""
        from pipelines.depot.books.unwritten import Unwritten

        with nothing_for_everybody():
            self.root.mkdir(parents=True, exist_ok=True)
            self._books = cast("Books", Unwritten())
            try:
                yield
            finally:
                self._books = None

    def delivery_ids(self) -> list[str]:
        """All deliveries with a result, by name."""
        return self.store.names(keys.DELIVERIES)

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
            remove_tree(folder)

    def store_raw(self, source: Path, sha256: str) -> None:
        """Copy ``source`` into the raw store unless it is there; its bytes must have this checksum."""
        self._keep(source, keys.raw(sha256), sha256, READ_ONLY)

    def store_closed(self, source: Path, delivery_id: str, sha256: str) -> None:
        """Copy ``source`` to the bytes kept apart, readable only by the owner of the depot."""
        for folder in (keys.CLOSED, f"{keys.CLOSED}/{delivery_id}"):
            self.store.shut(folder)
        self._keep(source, keys.closed(delivery_id, sha256), sha256, CLOSED_ONLY)

    def _keep(self, source: Path, key: str, sha256: str, mode: int) -> None:
        if self.store.is_object(key) and self.store.size(key) == source.stat().st_size:
            return
        try:
            with source.open("rb") as incoming:
                self.store.copy_in(key, incoming, sha256, mode=mode)
        except OtherBytesError as other:
            raise Unusable(
                f"The file changed while it was taken in: its checksum was {sha256[:12]}, now {other.now[:12]}.",
                "the bytes that were checked on arrival.",
                "Wait until the upload is finished, then run again.",
                file=source,
            ) from None

    @contextmanager
    def alone(self, actor: str, wait_s: float = 0.0) -> Iterator[None]:
        """Hold the depot so that nobody writes, whatever state it is in; nothing is compared or mended."""
        from pipelines.depot.lock import held

        with nothing_for_everybody(), held(self.lock_file, actor, wait_s):
            yield

    @contextmanager
    def still(self, actor: str) -> Iterator[None]:
        """Keep writers away to look at all of the depot; one who may not write here shares it with others who look."""
        from pipelines.depot.lock import shared

        with self.alone(actor) if self.may_write else shared(self.lock_file):
            yield

    @contextmanager
    def writing(self, actor: str, wait_s: float = 0.0) -> Iterator[None]:
        """Be the depot's only writer. Raises Unusable, naming the holder, if another still is after ``wait_s``.

        What is written meanwhile is for the owner and its group at most: folders 0750, files 0640, or tighter where the
        umask already says so.
        """
        from pipelines.depot.exchange import mend
        from pipelines.depot.guarding import guarded
        from pipelines.depot.lock import held
        from pipelines.depot.witnesses import prove_books_file

        with nothing_for_everybody():
            self.root.mkdir(parents=True, exist_ok=True)
            with held(self.lock_file, actor, wait_s):
                new = not self.exists
                prove_books_file(self)
                with (
                    self.opened(to_write=True) as books,
                    books.my_turn(self.lock_file, actor, wait_s),
                    guarded(self, new=new),
                ):
                    mend(self)
                    yield


def put_back(store: Store, key: str, incoming: IO[bytes], sha256: str, *, sync: bool = True) -> None:
    """Copy an object in that another copy has, for those alone who might read it before. Raises OtherBytesError."""
    for folder in keys.shut_above(key):
        store.shut(folder)
    store.copy_in(key, incoming, sha256, mode=CLOSED_ONLY if keys.is_private(key) else READ_ONLY, sync=sync)


def write_table(table: Table, frame: pd.DataFrame, path: Path) -> None:
    """Write ``frame`` as Parquet into a scratch folder; the only Parquet writer. ``Store.bring`` syncs it.

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
    path.write_bytes(buffer.getvalue())


def read_table(path: Path) -> pd.DataFrame:
    """A Parquet file as a data frame."""
    import pyarrow.parquet as parquet

    frame: pd.DataFrame = parquet.read_table(path).to_pandas()
    return frame
