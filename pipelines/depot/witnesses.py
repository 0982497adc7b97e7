"""Books, register and head: three that know who withdrew and how far the ledger reached. Here alone they are judged.

Any one of them may be lost, damaged or of an older day without anybody noticing it by itself. **What two of them tell
together counts**: where one is lost, the other two must agree before anything is written or corrected; where two are
lost or disagree, nothing goes on and nothing is corrected, since a withdrawal might be forgotten. Whoever writes asks
``trusted``, ``manystrides verify`` tells every ``Doubt`` of ``judge``, and what mends asks ``Judgement.two_agree``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipelines.depot import reached
from pipelines.depot import register as registers
from pipelines.depot.addresses import REGISTER_VARIABLE
from pipelines.depot.books.held_file import sha256_of_books
from pipelines.depot.books.log_file import damage_of_log, log_of
from pipelines.depot.books.where import BACK, FILE
from pipelines.depot.ledger import Head
from pipelines.depot.register import Register
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books
    from pipelines.depot.storage import Depot

WITHDRAWAL, TAKEN_BACK = "withdrawal", "withdrawal_taken_back"
_REPAIR = "Find out what happened; then put books and register of the same day in their place (manystrides restore)."
_NEWEST = "Put the newest copy of it in this place. If there is none, make it anew with manystrides verify --repair."
_GROWS = "a ledger that only grows."


@dataclass(frozen=True)
class Doubt:
    """Why one of the three is not believed. stops: whether nobody may write; one that is only missing may be made."""

    about: Literal["register", "head"]
    problem: Unusable
    stops: bool = True


@dataclass(frozen=True)
class Judgement:
    """What the open books, the register and the head are worth together. known: the register, if it can be read."""

    known: Register | None
    doubts: tuple[Doubt, ...]
    two_agree: bool


def prove_books_file(depot: Depot) -> None:
    """Raises Unusable if the file of the books, or the log of a killed command, is not what the last command left.

    Before it is opened: SQLite passes over what is damaged in its log. The checksum is empty only where a command was
    killed just while the file itself was changed; then the database is looked through when it is open.
    """
    path = depot.root / FILE
    if depot.books_url is None and path.exists() and not path.is_file():
        raise Unusable("The books are no regular file.", "the file that the last command left.", BACK, file=path)
    known = registers.read(depot.register)
    if depot.books_url or not path.exists():
        return
    if known is not None and known.books_sha256 and sha256_of_books(path) != known.books_sha256:
        raise Unusable(
            "The books are not what the last command left: they were damaged, changed by hand or put back from an "
            "older day.",
            f"the file whose SHA-256 begins {known.books_sha256[:12]}, as {depot.register} says.",
            BACK,
            file=path,
        )
    if (damaged := damage_of_log(path)) is not None:
        raise Unusable(damaged, f"whole transactions in {log_of(path).name}.", BACK, file=path)


def judge(depot: Depot, *, begun: Register | None = None) -> Judgement:
    """Compare the three, with the books open. begun: the register of a new depot, not yet written."""
    try:
        known = begun or registers.read(depot.register)
    except Unusable as problem:
        doubts = (Doubt("register", problem), *_cut(depot, Head(), wanted=depot.books.ledger.head().sequence > 0))
        return Judgement(None, doubts, _two_agree(depot, None))
    return Judgement(known, tuple(_doubts(depot, known)), _two_agree(depot, known))


def trusted(depot: Depot, *, begun: Register | None = None) -> Register | None:
    """The register; None if it is lost and told nothing. Raises Unusable where nobody may write."""
    judged = judge(depot, begun=begun)
    for doubt in judged.doubts:
        if doubt.stops:
            raise doubt.problem
    return judged.known


def _doubts(depot: Depot, known: Register | None) -> Iterator[Doubt]:
    books, path = depot.books, depot.register
    if known is None:
        expected = "the register of withdrawals, which every command that writes keeps."
        gone = Unusable("The register of withdrawals is missing.", expected, _NEWEST, file=path)
        yield Doubt("register", gone, stops=bool(told(books)[0]))
    if known is not None and known.depot != books.word():
        seen = "The register of withdrawals belongs to another depot."
        remedy = f"Put its own register in this place, or name it with --register or {REGISTER_VARIABLE}."
        yield Doubt("register", Unusable(seen, "the register that was made with this depot.", remedy, file=path))
        return
    of_register = known.head if known is not None else Head()
    yield from _cut(depot, of_register, wanted=known is None and books.ledger.head().sequence > 0)
    if known is not None:
        yield from _other_withdrawals(depot, known)


def _cut(depot: Depot, of_register: Head, *, wanted: bool) -> Iterator[Doubt]:
    """Lines of the ledger that register or head know and the books do not. wanted: whether there must be a head."""
    ledger = depot.books.ledger
    head = ledger.head()
    own, gone = _own_head(depot, wanted=wanted or of_register.sequence > 0)  # it is written before the register
    if gone is not None:
        yield Doubt("head", gone)
    for once in dict.fromkeys((of_register, own)):
        if head.sequence < once.sequence:
            seen = f"The ledger has {head.sequence} lines, and once had {once.sequence}: lines are missing at its end."
            yield Doubt("register", Unusable(seen, _GROWS, _REPAIR, file=depot.root))
        elif once.sequence and ledger.hash_of(once.sequence) != once.hash:
            seen = f"Line {once.sequence} of the ledger is not the one that was its last when the last command ended."
            yield Doubt("register", Unusable(seen, _GROWS, _REPAIR, file=depot.root))


def is_cut(depot: Depot, known: Register) -> bool:
    """Whether the ledger of the open books lacks what register or head know, or the head itself cannot be read."""
    return any(True for _ in _cut(depot, known.head, wanted=False))


def _own_head(depot: Depot, *, wanted: bool) -> tuple[Head, Unusable | None]:
    """What the file of the head knows, which may be nothing, and what is wrong with it."""
    try:
        told = reached.known(depot.root)
    except Unusable as problem:
        return Head(), problem
    return told or Head(), reached.missing(depot.root) if told is None and wanted else None


def _other_withdrawals(depot: Depot, known: Register) -> Iterator[Doubt]:
    """Withdrawals on which register and books differ; one that only the register knows is carried out, not doubted."""
    books = depot.books
    listed, (in_ledger, _) = known.in_force, told(books)
    if missing := sorted(in_ledger - listed.keys() - taken_back_since(known)):
        problem = Unusable(
            f"The register of withdrawals is missing or older than the books: {len(missing)} withdrawals that the "
            f"ledger tells are not in it, such as tombstone {missing[0]}.",
            "a register that lists every withdrawal of the ledger.",
            _NEWEST,
            file=depot.register,
        )
        yield Doubt("register", problem)
    if lost := sorted(t for t in in_ledger & listed.keys() if not books.withdrawals.is_as(listed[t])):
        problem = Unusable(
            f"Books and register differ on {len(lost)} withdrawals that the ledger tells, such as tombstone {lost[0]}.",
            "books that hold every withdrawal as the register lists it.",
            "Run manystrides verify --repair, which puts them back from the register.",
            file=depot.root,
        )
        yield Doubt("register", problem)


def _two_agree(depot: Depot, known: Register | None) -> bool:
    """Whether register or head bears out how far the ledger of the books reaches, and neither knows more.

    The head is noted last in every command, so it alone is enough only where it names the very end of the ledger; the
    register where the ledger goes on from its head, if the file of the head is there as well, or ends with it.
    """
    ledger = depot.books.ledger
    end = ledger.head()
    own, gone = _own_head(depot, wanted=True)
    if gone is None:
        return ends_at(depot, own) and (
            known is None or known.depot != depot.books.word() or goes_on(depot, known.head)
        )
    return known is not None and known.depot == depot.books.word() and known.head == end


def goes_on(depot: Depot, head: Head) -> bool:
    """Whether the ledger goes on where it was known to end."""
    return head.sequence == 0 or depot.books.ledger.hash_of(head.sequence) == head.hash


def ends_at(depot: Depot, head: Head) -> bool:
    """Whether the ledger reaches at least to a head, and has its line."""
    return head.sequence > 0 and goes_on(depot, head)


def told(books: Books) -> tuple[set[str], set[str]]:
    """Tombstones that the ledger tells and that count, and those that were taken back."""
    back = {about.removeprefix("tombstone-").removesuffix(".taken-back") for about in books.ledger.abouts(TAKEN_BACK)}
    return {about.removeprefix("tombstone-") for about in books.ledger.abouts(WITHDRAWAL)} - back, back


def taken_back_since(known: Register) -> set[str]:
    """Tombstones that the register knows as taken back: one that was is never used again."""
    return {listed.tombstone for listed in known.withdrawals if listed.taken_back}
