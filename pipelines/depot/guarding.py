"""What every writing command does first and last: compare the books with the register beside the depot, and note them.

What may not be believed is judged in ``pipelines.depot.witnesses``: fewer lines of the ledger than were there, other
bytes of the books than the last command left, a withdrawal that the ledger knows and the register or the books do not.
A withdrawal that only the register knows was killed on its way, or the books are from an older day: it is taken over
and carried out.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from pipelines.depot import reached
from pipelines.depot import register as registers
from pipelines.depot.addresses import REGISTER_VARIABLE
from pipelines.depot.books.held_file import sha256_of_books
from pipelines.depot.books.log_file import has_log
from pipelines.depot.books.rows import Listed
from pipelines.depot.books.where import BACK, FILE
from pipelines.depot.ledger import Ledger, whoami
from pipelines.depot.register import Register
from pipelines.depot.witnesses import TAKEN_BACK, WITHDRAWAL, is_cut, taken_back_since, told, trusted
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books
    from pipelines.depot.storage import Depot


@contextmanager
def guarded(depot: Depot, *, new: bool) -> Iterator[None]:
    """Round a writing command, with the books open. new: the depot was made just now. Raises Unusable."""
    path, books = depot.register, depot.books
    begun = _begun(depot, registers.read(path)) if new else None
    known = trusted(depot, begun=begun) or _begun(depot, None)
    if not known.books_sha256 and not new:
        for fault in damage(books):
            raise Unusable(fault, "whole books.", BACK, file=depot.root / FILE)
    _take_over(depot, known)
    registers.write(path, replace(known, books_sha256=_checksum(depot)))
    try:
        yield
    except BaseException:
        with suppress(OSError, Unusable):  # what ended the command is what is told
            _note_head(depot)
        raise
    _note_head(depot)


def damage(books: Books) -> Iterator[str]:
    """What the database itself finds wrong with SQLite's books."""
    if books.engine.dialect.name != "sqlite":
        return
    with books.reading() as connection:
        told = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(5)")]
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if told != ["ok"] or broken:
        what = "; ".join(told[:2]) if told != ["ok"] else "rows without what they belong to"
        yield f"The database is damaged: {what}."


@contextmanager
def books_file_changes(depot: Depot) -> Iterator[None]:
    """Round what changes the file of the books itself: meanwhile its checksum is not known, and then it is noted.

    One that was not known before stays so: nobody has proved the file.
    """
    if not _is_known(depot):
        yield
        return
    forget_books_file(depot)
    yield
    with suppress(OSError, Unusable):  # it stays unknown, and the next command looks through the database
        note_books_file(depot)


def _is_known(depot: Depot) -> bool:
    """Whether there is something to bring into the file of the books, and it was proved."""
    if depot.books_url is not None or not has_log(depot.root / FILE):
        return False
    try:
        known = registers.read(depot.register)
    except Unusable:  # told by whoever compares it
        return False
    return known is not None and bool(known.books_sha256) and known.depot == depot.books.word()


def forget_books_file(depot: Depot) -> None:
    """Note that the file of the books is about to be changed."""
    known = registers.read(depot.register)
    if known is not None:
        registers.write(depot.register, replace(known, books_sha256=""))


def note_books_file(depot: Depot) -> None:
    """Note the checksum of the books' file."""
    known = registers.read(depot.register)
    if known is not None:
        registers.write(depot.register, replace(known, books_sha256=_checksum(depot)))


def _checksum(depot: Depot) -> str:
    path = depot.root / FILE
    return sha256_of_books(path) if depot.books_url is None and path.exists() else ""


def _take_over(depot: Depot, known: Register) -> None:
    """What only the register knows of withdrawals comes into the books; the next step of the command carries it out."""
    books = depot.books
    in_ledger, taken_back = told(books)
    for tombstone in sorted(known.in_force.keys() - in_ledger - taken_back):
        listed = known.in_force[tombstone]
        with books.transaction():
            books.jobs.take_over(listed)
            why = "It stands in the register; the books did not know it."
            Ledger(books, whoami()).write(WITHDRAWAL, f"tombstone-{tombstone}", why, scope=listed.scope)
    for tombstone in sorted(in_ledger & taken_back_since(known)):  # books of a backup that was made before
        with books.transaction():
            books.withdrawals.drop(tombstone)
            why = "The register tells that it was taken back; the books did not know it."
            Ledger(books, whoami()).write(TAKEN_BACK, f"tombstone-{tombstone}.taken-back", why)


def noted(depot: Depot, listed: Listed) -> None:
    """Write a withdrawal into the register; before the books know it."""
    path = depot.register
    known = registers.read(path) or _begun(depot, None)
    registers.write(path, known.with_withdrawal(listed))


def made_from_books(depot: Depot) -> Register:
    """A register with all that the books know."""
    books = depot.books
    listed = tuple(books.withdrawals.listed())
    return Register(books.word(), books.key(), books.ledger.head(), withdrawals=listed)


def _begun(depot: Depot, older: Register | None) -> Register:
    """The register of a new depot, or of one that has none yet. older: what lies in its place."""
    books = depot.books
    bare = Register(books.word(), books.key())
    if older is None:
        return bare
    if older.depot == bare.depot:
        return replace(bare, withdrawals=older.withdrawals)
    if os.environ.get(REGISTER_VARIABLE):
        return older  # it was named, and is not replaced: that it is another depot's is told
    if older.in_force:  # made anew where a depot was: who withdrew from that one is withheld here, too
        books.adopt_key(older.key)
    return replace(bare, key=books.key(), withdrawals=older.withdrawals if older.in_force else ())


def end_of_command(depot: Depot) -> None:
    """Note how far the ledger reaches, and the checksum of the books; for a command that held the depot by itself.

    Of a ledger that is shorter than it was nothing is noted, or nobody would know any more.
    """
    with depot.opened(), suppress(Unusable):
        known = registers.read(depot.register)
        if known is not None and not is_cut(depot, known):
            _note_head(depot)
            note_books_file(depot)


def _note_head(depot: Depot) -> None:
    head = depot.books.ledger.head()
    reached.note(depot.root, head)
    known = registers.read(depot.register)
    if known is not None:
        registers.write(depot.register, replace(known, head=head))
