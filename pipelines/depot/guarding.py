"""What every writing command does first and last: compare the books with the register beside the depot, and note them.

Refused is what can only be a loss: fewer lines of the ledger than were there, other bytes of the books than the last
command left, a withdrawal that the ledger knows and the register or the books do not. A withdrawal that only the
register knows was killed on its way, or the books are from an older day: it is taken over and carried out.
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
from pipelines.depot.books.log_file import damage_of_log, has_log, log_of
from pipelines.depot.books.rows import Listed
from pipelines.depot.books.where import FILE
from pipelines.depot.ledger import Head, Ledger, whoami
from pipelines.depot.register import Register
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books
    from pipelines.depot.storage import Depot

WITHDRAWAL, TAKEN_BACK = "withdrawal", "withdrawal_taken_back"
_BACK = "Run manystrides verify --repair --from BACKUP, or manystrides restore."
_REPAIR = "Find out what happened; then put books and register of the same day in their place (manystrides restore)."


def prove_books_file(depot: Depot) -> None:
    """Raises Unusable if the file of the books, or the log of a killed command, is not what the last command left.

    Before it is opened: SQLite passes over what is damaged in its log. The checksum is empty only where a command was
    killed just while the file itself was changed; then the database is looked through when it is open.
    """
    known, path = registers.read(depot.register), depot.root / FILE
    if depot.books_url or not path.exists():
        return
    if known is not None and known.books_sha256 and sha256_of_books(path) != known.books_sha256:
        raise Unusable(
            "The books are not what the last command left: they were damaged, changed by hand or put back from an "
            "older day.",
            f"the file whose SHA-256 begins {known.books_sha256[:12]}, as {depot.register} says.",
            _BACK,
            file=path,
        )
    if (damaged := damage_of_log(path)) is not None:
        raise Unusable(damaged, f"whole transactions in {log_of(path).name}.", _BACK, file=path)


@contextmanager
def guarded(depot: Depot, *, new: bool) -> Iterator[None]:
    """Round a writing command, with the books open. new: the depot was made just now. Raises Unusable."""
    path, books = depot.register, depot.books
    known = registers.read(path)
    if known is None and not new and (gone := head_gone(depot, books.ledger.head().sequence > 0)) is not None:
        raise gone  # of the three that know how far the ledger reached one is left, which may be of an older day
    known = _begun(depot, known) if known is None or new else known
    if not known.books_sha256 and not new:
        for fault in damage(books):
            raise Unusable(fault, "whole books.", _BACK, file=depot.root / FILE)
    compare(depot, known)
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


def compare(depot: Depot, known: Register) -> None:
    """Raises Unusable if register and books cannot be of one depot and day; takes over what only the first knows."""
    for problem in differences(depot, known):
        raise problem
    books = depot.books
    in_ledger, taken_back = _told(books)
    for tombstone in sorted(known.in_force.keys() - in_ledger - taken_back):
        listed = known.in_force[tombstone]
        with books.transaction():
            books.jobs.take_over(listed)
            why = "It stands in the register; the books did not know it."
            Ledger(books, whoami()).write(WITHDRAWAL, f"tombstone-{tombstone}", why, scope=listed.scope)
    for tombstone in sorted(in_ledger & _taken_back_since(known)):  # books of a backup that was made before
        with books.transaction():
            books.withdrawals.drop(tombstone)
            why = "The register tells that it was taken back; the books did not know it."
            Ledger(books, whoami()).write(TAKEN_BACK, f"tombstone-{tombstone}.taken-back", why)


def _taken_back_since(known: Register) -> set[str]:
    """Tombstones that the register knows as taken back: one that was is never used again."""
    return {listed.tombstone for listed in known.withdrawals if listed.taken_back}


def differences(depot: Depot, known: Register) -> Iterator[Unusable]:
    """Why register and books cannot be of one depot and day."""
    path, books = depot.register, depot.books
    if known.depot != books.word():
        seen = "The register of withdrawals belongs to another depot."
        remedy = f"Put its own register in this place, or name it with --register or {REGISTER_VARIABLE}."
        yield Unusable(seen, "the register that was made with this depot.", remedy, file=path)
        return
    yield from _cut(depot, known)
    listed, (in_ledger, _) = known.in_force, _told(books)
    if missing := sorted(in_ledger - listed.keys() - _taken_back_since(known)):
        yield Unusable(
            f"The register of withdrawals is missing or older than the books: {len(missing)} withdrawals that the "
            f"ledger tells are not in it, such as tombstone {missing[0]}.",
            "a register that lists every withdrawal of the ledger.",
            "Put the newest copy of it in this place. If there is none, make it anew with manystrides verify --repair.",
            file=path,
        )
    if lost := sorted(t for t in in_ledger & listed.keys() if not books.withdrawals.is_as(listed[t])):
        yield Unusable(
            f"Books and register differ on {len(lost)} withdrawals that the ledger tells, such as tombstone {lost[0]}.",
            "books that hold every withdrawal as the register lists it.",
            "Run manystrides verify --repair, which puts them back from the register.",
            file=depot.root,
        )


def _told(books: Books) -> tuple[set[str], set[str]]:
    """Tombstones that the ledger tells and that count, and those that were taken back."""
    back = {about.removeprefix("tombstone-").removesuffix(".taken-back") for about in books.ledger.abouts(TAKEN_BACK)}
    return {about.removeprefix("tombstone-") for about in books.ledger.abouts(WITHDRAWAL)} - back, back


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


def head_gone(depot: Depot, wanted: bool) -> Unusable | None:
    """What is told where the file of the head is damaged, or not there although it is wanted."""
    return _own_head(depot, wanted)[1]


def _own_head(depot: Depot, wanted: bool) -> tuple[Head, Unusable | None]:
    """What the file of the head knows, which may be nothing, and what is wrong with it."""
    try:
        told = reached.known(depot.root)
    except Unusable as problem:
        return Head(), problem
    return told or Head(), reached.missing(depot.root) if told is None and wanted else None


def _cut(depot: Depot, known: Register) -> Iterator[Unusable]:
    head, expected = depot.books.ledger.head(), "a ledger that only grows."
    own, gone = _own_head(depot, known.head.sequence > 0)  # it is written before the register
    if gone is not None:
        yield gone
    for once in dict.fromkeys((known.head, own)):
        if head.sequence < once.sequence:
            seen = f"The ledger has {head.sequence} lines, and once had {once.sequence}: lines are missing at its end."
            yield Unusable(seen, expected, _REPAIR, file=depot.root)
        elif once.sequence and depot.books.ledger.hash_of(once.sequence) != once.hash:
            seen = f"Line {once.sequence} of the ledger is not the one that was its last when the last command ended."
            yield Unusable(seen, expected, _REPAIR, file=depot.root)


def end_of_command(depot: Depot) -> None:
    """Note how far the ledger reaches, and the checksum of the books; for a command that held the depot by itself.

    Of a ledger that is shorter than it was nothing is noted, or nobody would know any more.
    """
    with depot.opened(), suppress(Unusable):
        known = registers.read(depot.register)
        if known is not None and not any(True for _ in _cut(depot, known)):
            _note_head(depot)
            note_books_file(depot)


def _note_head(depot: Depot) -> None:
    head = depot.books.ledger.head()
    reached.note(depot.root, head)
    known = registers.read(depot.register)
    if known is not None:
        registers.write(depot.register, replace(known, head=head))
