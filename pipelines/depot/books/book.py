"""The books themselves: one connection at a time, explicit transactions, and what a database says in plain words.

Every question reads what is committed, or, inside ``transaction``, what the transaction has written so far.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from pipelines.depot.books.arrivals import Arrivals
from pipelines.depot.books.beside import Beside
from pipelines.depot.books.builds import Builds
from pipelines.depot.books.decisions import Decisions
from pipelines.depot.books.deliveries import Deliveries
from pipelines.depot.books.files import Files
from pipelines.depot.books.followed import FollowUps
from pipelines.depot.books.gates import Gates
from pipelines.depot.books.held_file import hold, let_go
from pipelines.depot.books.jobs import Jobs
from pipelines.depot.books.leaning import Leaning
from pipelines.depot.books.ledger import LedgerLines
from pipelines.depot.books.log_file import log_of
from pipelines.depot.books.releases import Releases
from pipelines.depot.books.stamps import Stamps
from pipelines.depot.books.tables import DEPOT
from pipelines.depot.books.texts import Texts
from pipelines.depot.books.told_rows import ToldRows
from pipelines.depot.books.trials import Trials
from pipelines.depot.books.where import BACK
from pipelines.depot.books.withdrawals import Withdrawals
from pipelines.errors import Unusable

#: Execution option of a connection that is going to write: SQLite must know when the transaction begins.
WRITES = "manystrides_writes"
_LONGEST_LOG = 64_000_000  # bytes; own choice: some hundred deliveries, and a second to prove it after a kill


class Books:
    """What a depot knows. One thread works with it at a time; close it at the end."""

    def __init__(self, engine: sa.Engine) -> None:
        self.engine = engine
        self._file = Path(str(engine.url.database)) if engine.dialect.name == "sqlite" else None
        if self._file is not None:
            hold(self._file)
        #: Round whatever changes the files of SQLite's books themselves, such as the end of working with them.
        self.changing_file: Callable[[], AbstractContextManager[None]] = nullcontext
        self._open: sa.Connection | None = None
        self.arrivals = Arrivals(self)
        self.deliveries = Deliveries(self)
        self.trials = Trials(self)
        self.stamps = Stamps(self)
        self.leaning = Leaning(self)
        self.told_rows = ToldRows(self)
        self.beside = Beside(self)
        self.ledger = LedgerLines(self)
        self.builds = Builds(self)
        self.gates = Gates(self)
        self.withdrawals = Withdrawals(self)
        self.jobs = Jobs(self)
        self.decisions = Decisions(self)
        self.releases = Releases(self)
        self.files = Files(self)
        self.texts = Texts(self)
        self.follow_ups = FollowUps(self)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All that is written inside counts together or not at all; one inside another is part of the outer one."""
        if self._open is not None:
            yield
            return
        with told_plainly(self.engine):
            writes = {WRITES: True}
            with self.engine.connect().execution_options(**writes) as connection, connection.begin():
                self._open = connection
                try:
                    yield
                finally:
                    self._open = None
        self._shorten_log()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A connection to ask questions with."""
        if self._open is not None:
            yield self._open
            return
        with told_plainly(self.engine), self.engine.connect() as connection:
            yield connection

    def writer(self) -> sa.Connection:
        """The connection of the open transaction. Raises RuntimeError where there is none: that is a fault of ours."""
        if self._open is None:
            raise RuntimeError("the books are written to inside a transaction only")
        return self._open

    def word(self) -> str:
        """The word by which books and depot know that they belong together."""
        with self.reading() as connection:
            return str(connection.scalar(sa.select(DEPOT.c.word)))

    def key(self) -> str:
        """The secret by which withdrawn runners and files are known again."""
        with self.reading() as connection:
            return str(connection.scalar(sa.select(DEPOT.c.key)))

    def refuse_other_study(self, known_by: str, file: Path) -> None:
        """Raises Unusable if the depot is another study's. file: of the study that was given."""
        with self.reading() as connection:
            own = connection.scalar(sa.select(DEPOT.c.study))
        if own is not None and own != known_by:
            raise Unusable(
                f"The depot is that of the study {own!r}; the study file is that of {known_by!r}.",
                "the file of the study that the depot was begun with.",
                "Give that one with --study, or another --depot. If it is the same study under another title, write "
                f"`id: {own}` into the file.",
                file=file,
            )

    def bind(self, known_by: str) -> None:
        """Let the depot be a study's, unless it is one's already."""
        with self.reading() as connection:
            bound = connection.scalar(sa.select(DEPOT.c.study)) is not None
        if not bound:
            with self.transaction():
                self.writer().execute(sa.update(DEPOT).values(study=known_by))

    def adopt_key(self, key: str) -> None:
        """Let new books know those who withdrew from the depot that was here before. Raises RuntimeError for others."""
        if self.ledger.head().sequence or self.deliveries.ids():
            raise RuntimeError("only new books may take another key")
        with self.transaction():
            self.writer().execute(sa.update(DEPOT).values(key=key))
        self.withdrawals.forget_key()

    def my_turn(self, lock_file: Path, actor: str, wait_s: float = 0.0) -> AbstractContextManager[None]:
        """Be the only writer of books that several machines share; of SQLite the lock on the file is enough."""
        from pipelines.depot.books.turn import my_turn

        return my_turn(self.engine, lock_file, actor, wait_s)

    def take_stock(self) -> None:
        """Let the database look how many rows there are now, by which it chooses how to answer.

        SQLite never does so by itself, and without it asks what is due by walking whole tables: seconds in large books.
        """
        if self.engine.dialect.name != "sqlite":
            return
        with self.transaction():
            writer = self.writer()
            writer.exec_driver_sql("PRAGMA analysis_limit = 1000")  # rows per index: milliseconds
            writer.exec_driver_sql("ANALYZE")
            # numbers of rows are enough; some builds of SQLite keep whole values beside them, such as names of runners
            if sa.inspect(writer).has_table("sqlite_stat4"):
                writer.exec_driver_sql("DELETE FROM sqlite_stat4")

    def _shorten_log(self) -> None:
        """Bring what is in the log into the database when it has grown long: in the end that happens anyway."""
        if self._file is not None:
            log = log_of(self._file)
            if log.exists() and log.stat().st_size > _LONGEST_LOG:
                self._empty_log()

    def _empty_log(self) -> None:
        with self.changing_file():
            raw = self.engine.raw_connection()
            try:
                raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
            finally:
                raw.close()

    def forget_for_good(self) -> None:
        """See to it that no byte of the database's files still holds rows that were removed."""
        if self.engine.dialect.name == "sqlite":
            self._empty_log()  # rows are overwritten where they stood (secure_delete); the log goes too
            return
        with told_plainly(self.engine), self.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql("VACUUM FULL")

    def close(self) -> None:
        """Let go of the database, which SQLite brings its log into then."""
        try:
            with self.changing_file():
                self.engine.dispose()
        finally:
            if self._file is not None:
                let_go(self._file)


@contextmanager
def told_plainly(engine: sa.Engine) -> Iterator[None]:
    """Turns what the database says into words for people: OSError for a full disk and the like, else Unusable."""
    try:
        yield
    except DBAPIError as error:
        plain = _plain(error, str(engine.url.database or ""))
        if plain is None:
            raise
        raise plain from error


def _plain(error: DBAPIError, file: str) -> Exception | None:
    name = getattr(error.orig, "sqlite_errorname", "")
    if name == "SQLITE_FULL":
        return OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), file)
    if name.startswith(("SQLITE_IOERR", "SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return OSError(errno.EIO, f"the books cannot be read or written ({name})", file)
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        seen = "The books are being written to by somebody else for longer than a run waits."
        return Unusable(seen, "one writer at a time.", "Wait until it has ended, then run again.", file=file)
    if name.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")) or "could not decode" in str(error.orig).lower():
        seen = "The books are damaged: the database cannot be read."
        return Unusable(seen, "the books of this depot.", BACK, file=file)
    if error.connection_invalidated:
        seen = "The database with the books went away."
        return Unusable(seen, "a database that can be reached.", "Look after it, then run again.", file=file)
    return None
