"""Opens the books of a depot, or makes them: SQLite in the depot's folder, or another database by its URL.

Looked at before anything is read: whether the books have a form this code knows, and whether they are the books of
this depot. A depot with deliveries whose books are missing is refused: without them nobody knows what was withdrawn.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, NoReturn

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from pipelines.depot.books.book import WRITES, Books, told_plainly
from pipelines.depot.books.log_file import has_log
from pipelines.depot.books.tables import DEPOT, FORM, LEDGER, META
from pipelines.depot.books.where import FILE, WORD
from pipelines.errors import Unusable

_WAIT_S = 30.0
#: Alembic keeps the form of a database in this table.
_FORM = sa.table("alembic_version", sa.column("version_num"))
_FORM_SQL = "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num))"  # noqa: E501


def open_books(root: Path, url: str | None = None, *, to_write: bool = True) -> Books:
    """The books of the depot at ``root``; new ones for a new depot. url: of another database than the depot's own.

    to_write: else nothing of them can be changed, and nothing of the folder need be written. Raises Unusable if they
    cannot be used as they are.
    """
    engine = make_engine(root, url) if to_write or url is not None else _engine_to_read(root)
    try:
        with told_plainly(engine):
            _look(engine, root, url)
        books = Books(engine)
        if not to_write and url is None:
            books.changing_file = partial(_left_as_it_was, root / FILE)
        return books
    except BaseException:
        engine.dispose()
        raise


def make_engine(root: Path, url: str | None, *, lost_ok: bool = False) -> sa.Engine:
    """An engine for the books, with all that a connection needs to keep its promises.

    lost_ok: whether new ones may be made although the depot is not new.
    """
    if url is not None:
        return _by_url(root, url)
    path = root / FILE
    if not path.exists():
        if not lost_ok:
            _refuse_if_lost(root)
        root.mkdir(parents=True, exist_ok=True)
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, stat.S_IRUSR | stat.S_IWUSR))  # SQLite's other files follow it
    engine = sa.create_engine(f"sqlite:///{path}", connect_args={"timeout": _WAIT_S})
    sa.event.listen(engine, "connect", _set_up_sqlite)
    sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _engine_to_read(root: Path) -> sa.Engine:
    """An engine that cannot write: not to the books, nor, where this user may not write either, beside them."""
    path = root / FILE
    if not path.exists():
        return make_engine(root, None)  # makes new ones, or tells that they are missing
    if not os.access(path, os.R_OK):
        raise Unusable(
            "This user may not read the books.",
            "their owner, or root: they name files that are kept apart.",
            f"Run the command as {_owner(path)}.",
            file=path,
        )
    how = "mode=ro"
    if not os.access(root, os.W_OK):
        if not has_log(path):
            how = "mode=ro&immutable=1"  # SQLite would make a log, if only an empty one
        elif not path.with_name(f"{FILE}-shm").exists():
            raise Unusable(
                "The last command was killed, and what it wrote last cannot be read in a folder that is read-only.",
                "a depot whose last command came to its end, or a folder that may be written to.",
                f"Let {_owner(path)} run manystrides verify on it, or read a copy of the folder.",
                file=path,
            )
    address = f"{path.absolute().as_uri()}?{how}"

    def connect() -> sqlite3.Connection:
        made = sqlite3.connect(address, uri=True, timeout=_WAIT_S, check_same_thread=False)
        made.isolation_level = None  # transactions begin where _begin_sqlite says
        return made

    engine = sa.create_engine(f"sqlite:///{path}", creator=connect)
    sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


@contextmanager
def _left_as_it_was(path: Path) -> Iterator[None]:
    """Round the end of reading: the empty files that SQLite made beside the books for it go again."""
    yield
    if os.access(path.parent, os.W_OK) and not has_log(path) and path.with_name(f"{FILE}-shm").exists():
        with suppress(sqlite3.Error), closing(sqlite3.connect(path, timeout=0)) as last:
            last.execute("PRAGMA schema_version").fetchone()  # whoever leaves last, and may write, clears up


def _owner(path: Path) -> str:
    try:
        return path.owner()
    except (KeyError, OSError):
        return f"the user with number {path.stat().st_uid}"


def _by_url(root: Path, url: str) -> sa.Engine:
    if (root / FILE).exists():
        raise Unusable(
            "The depot has books of its own, and other books were named.",
            "one place for the books of a depot.",
            "Leave --books and MANYSTRIDES_BOOKS out.",
            file=root / FILE,
        )
    if url.partition(":")[0].partition("+")[0] == "sqlite":
        raise Unusable(
            "The books cannot be opened: they are to be a SQLite file somewhere else.",
            "no URL at all, since a SQLite file belongs into the depot's folder; or one of a PostgreSQL database.",
            "Leave --books and MANYSTRIDES_BOOKS out.",
        )
    try:
        parsed = sa.make_url(url)
        if parsed.get_backend_name() != "postgresql":
            raise ArgumentError(f"books cannot be kept in {parsed.get_backend_name()}")
        if parsed.drivername == "postgresql":
            parsed = parsed.set(drivername="postgresql+psycopg")
        return sa.create_engine(parsed, isolation_level="REPEATABLE READ", pool_pre_ping=True)
    except (ArgumentError, NoSuchModuleError, ImportError) as error:
        raise Unusable(
            f"The books cannot be opened: {error}.",
            "a URL such as postgresql://name@machine/database, and the package psycopg.",
            "Correct --books or MANYSTRIDES_BOOKS, or install manystrides[postgresql].",
        ) from None


def _set_up_sqlite(connection: Any, _: object) -> None:
    connection.isolation_level = None  # transactions begin where _begin_sqlite says
    pragmas = ["journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "secure_delete=ON"]
    # the file itself changes only where its checksum is noted anew (pipelines.depot.guarding), else in the log
    for pragma in (*pragmas, "wal_autocheckpoint=0"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: sa.Connection) -> None:
    """A transaction that will write takes its turn at once, so that it cannot fail half-way for want of it."""
    writes = connection.get_execution_options().get(WRITES)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _look(engine: sa.Engine, root: Path, url: str | None) -> None:
    form = form_of(engine, root)
    if form is None:
        _refuse_if_lost(root)
        with engine.connect().execution_options(**{WRITES: True}) as connection, connection.begin():
            make_tables(connection)
    elif form != FORM:
        refuse_form(form, root)
    with engine.connect() as connection:
        word, study = connection.execute(sa.select(DEPOT.c.word, DEPOT.c.study)).one()
        in_use = study is not None or connection.scalar(sa.select(sa.exists().select_from(LEDGER)))
    marker = root / WORD
    if not marker.exists():
        if url is not None and in_use:
            raise Unusable(
                "These books belong to another folder.",
                f"the depot that was made with them, which holds {WORD}.",
                "Correct --depot, or name other books with --books or MANYSTRIDES_BOOKS. "
                f"If {WORD} alone is lost here, put it from your backup in its place.",
                file=root,
            )
        if url is not None and (root / "deliveries").is_dir():
            _refuse_if_lost(root)
        if os.access(root, os.W_OK):
            mark(root, word)
    elif marker.read_text(encoding="utf-8").strip() != word:
        _refuse_word(root, url)


def _refuse_word(root: Path, url: str | None) -> NoReturn:
    """Raises Unusable: the word in the depot is not that of the books. Older books are never the way out."""
    newest = "Never put older books in the place of newer ones: they lack what was withdrawn since."
    if url is None:
        mend = (
            f"If {FILE} lay here all the time, {WORD} alone is damaged: move it away, and the next command writes it "
            f"anew from the books, which the register proves. If {FILE} was exchanged, put the one of this depot back. "
        )
    else:
        mend = (
            "Name its own with --books or MANYSTRIDES_BOOKS. If you did, the file alone is damaged: put "
            f"{WORD} from your backup in its place; it never changes. "
        )
    raise Unusable(
        "These are not the books of this depot, or the word by which it knows them is damaged.",
        "the word of the books that were made with it.",
        mend + newest,
        file=root / WORD,
    )


def form_of(engine: sa.Engine, root: Path) -> int | None:
    """The form of the books; None if nothing is there yet."""
    try:
        if not sa.inspect(engine).has_table("alembic_version"):
            return None
        with engine.connect() as connection:
            told = connection.scalar(sa.select(_FORM.c.version_num))
    except DBAPIError as error:
        if getattr(error.orig, "sqlite_errorname", ""):
            raise
        raise Unusable(
            f"The books cannot be reached: {str(error.orig).strip().splitlines()[0]}",
            "a database that answers.",
            "Correct --books or MANYSTRIDES_BOOKS, or start the database.",
            file=root,
        ) from None
    return int(told) if told and str(told).isdigit() else 0


def make_tables(connection: sa.Connection, key: str | None = None) -> str:
    """Make new books in the open transaction; returns their word.

    key: by which withdrawn runners are known; left out, a new one.
    """
    META.create_all(connection)
    make_form_table(connection, f"{FORM:04d}")
    now = datetime.now(UTC).isoformat(timespec="seconds")
    row = {"word": secrets.token_hex(16), "key": key or secrets.token_hex(32), "made_utc": now}
    connection.execute(sa.insert(DEPOT), row)
    return row["word"]


def make_form_table(connection: sa.Connection, form: str) -> None:
    """Note the form of new books, as Alembic does."""
    connection.exec_driver_sql(_FORM_SQL)
    connection.execute(sa.insert(_FORM), {"version_num": form})


def mark(root: Path, word: str) -> None:
    """Write into the depot by which word its books are known."""
    root.mkdir(parents=True, exist_ok=True)
    (root / WORD).write_text(word + "\n", encoding="utf-8")


def refuse_form(form: int, root: Path) -> NoReturn:
    """Raises Unusable: the books have another form than this code needs."""
    if form > FORM:
        raise Unusable(
            f"The books have form {form}, made by a newer manystrides; this one knows form {FORM}.",
            f"books of form {FORM}.",
            "Use the newer manystrides.",
            file=root,
        )
    raise Unusable(
        f"The books have form {form}, made by an older manystrides; this one needs form {FORM}.",
        f"books of form {FORM}.",
        "Make a copy of the depot, then run manystrides upgrade.",
        file=root,
    )


def _refuse_if_lost(root: Path) -> None:
    """Raises Unusable if the depot is not new, so that it must have had books."""
    if any((root / "deliveries").glob("*/record.json")) or (root / "ledger.jsonl").exists():
        raise Unusable(
            "The depot was made by an older manystrides, which kept its books in many files.",
            "a depot with books.",
            "Make a copy of the depot, then run manystrides upgrade.",
            file=root,
        )
    if any((root / "deliveries").glob("*")) or (root / WORD).exists():
        raise Unusable(
            "The books of the depot are missing.",
            f"{FILE} in the depot, or --books or MANYSTRIDES_BOOKS naming the database they are in.",
            "Put the file from your backup in its place, or name the database.",
            file=root,
        )
