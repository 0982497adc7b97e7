"""Mends what ``pipelines.depot.verify`` finds, as far as bytes go: from copies in the depot, the inbox or a backup.

What is judged and built again for it, is so by the graph (``pipelines.assets.repairing``). Nothing is taken that does
not have the checksum the books ask for. What has no source is left and told. What the books do not know is never
removed here: it may be the only copy of something.
"""

from __future__ import annotations

import io
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from pipelines.depot import keys, reached
from pipelines.depot import register as registers
from pipelines.depot.arrivals import Names, path_of
from pipelines.depot.books.where import FILE
from pipelines.depot.desk import Desk
from pipelines.depot.disk import OtherBytesError
from pipelines.depot.guarding import damage, made_from_books
from pipelines.depot.proof import ledger_problems
from pipelines.depot.published import sha256_of
from pipelines.depot.storage import Depot, put_back
from pipelines.depot.store import Store
from pipelines.depot.verify import Fault
from pipelines.depot.witnesses import goes_on, judge
from pipelines.errors import Unusable
from pipelines.intake.bag_files import bag_in


@dataclass(frozen=True)
class Sources:
    """Where good bytes may lie. backup: a folder that ``manystrides backup`` made."""

    inbox: Path | None = None
    backup: Path | None = None


class StopError(Exception):
    """Nothing more can be mended."""


def books_back(depot: Depot, faults: list[Fault], sources: Sources) -> Iterator[str]:
    """Books from a backup, if they are those that the last command left; or it is the register that is older."""
    target = depot.root / FILE
    if not any(f.kind == "books" and f.file == target for f in faults):
        return
    known = registers.read(depot.register)
    if known is not None and target.exists() and _is_older(depot, known):
        with depot.opened():
            registers.write(depot.register, _made_anew(depot, known))
        yield f"{depot.register}: it was older than the books, and is made anew from them."
        return
    if sources.backup is None:
        return
    copy = sources.backup / FILE
    if known is not None and copy.is_file() and _reaches(copy, known):
        for rest in ("-wal", "-shm"):
            target.with_name(target.name + rest).unlink(missing_ok=True)
        sha = sha256_of(copy)
        with copy.open("rb") as incoming:
            Store.on_disk(depot.root).copy_in(FILE, incoming, sha, mode=0o600)
        registers.write(depot.register, replace(known, books_sha256=sha))
        yield f"{target}: from the backup; no line of the ledger was written since."


def _reaches(copy: Path, known: registers.Register) -> bool:
    """Whether copied books are this depot's, whole, and reach as far as the ledger did when the last command ended."""
    with tempfile.TemporaryDirectory(prefix="manystrides-books-") as folder:
        shutil.copyfile(copy, Path(folder) / FILE)
        try:
            beside = Depot(folder, register=Path(folder) / "register")
            with beside.opened() as books:
                same = (books.word(), books.ledger.head()) == (known.depot, known.head)
                return same and not ledger_problems(beside)
        except Unusable:
            return False


def bytes_back(depot: Depot, faults: list[Fault], sources: Sources) -> Iterator[str]:
    """Register and files from their sources. Raises StopError if the ledger is not whole, or only the books say so."""
    _refuse_one_witness(depot, faults)
    yield from _register(depot, faults)
    yield from _head(depot, faults)
    yield from _stored(depot, faults, sources)
    yield from _copied(depot, faults, sources)


def _refuse_one_witness(depot: Depot, faults: list[Fault]) -> None:
    """Raises StopError where nothing shows that the books are not those of an older day.

    A file that the books do not know, or a result that is another, may be of a day that they have not seen: with head
    or register lost a withdrawal may be forgotten in them, and its files may lie in the inbox still.
    """
    judged = judge(depot)
    lost = judged.known is None or any(doubt.about == "head" for doubt in judged.doubts)
    if not judged.two_agree or (lost and any(fault.kind in ("stray", "result") for fault in faults)):
        raise StopError


def _register(depot: Depot, faults: list[Fault]) -> Iterator[str]:
    if not any(f.kind == "register" for f in faults):
        return
    if any(f.kind == "ledger" for f in faults):
        raise StopError  # a register made from a ledger that is not whole would hide it
    known = judge(depot).known
    if known is None or known.depot == depot.books.word():
        for listed in known.in_force.values() if known else ():
            if not depot.books.withdrawals.is_as(listed):
                with depot.books.transaction():
                    depot.books.withdrawals.drop(listed.tombstone)
                    depot.books.jobs.take_over(listed)
                yield f"{depot.root}: withdrawal {listed.tombstone} is in the books again, from the register."
        if known is None or goes_on(depot, known.head):
            registers.write(depot.register, _made_anew(depot, known))
            yield f"{depot.register}: made anew from the books."


def _head(depot: Depot, faults: list[Fault]) -> Iterator[str]:
    """How far the ledger reached, if the file that tells it is gone; that books and register agree was asked before."""
    lost = any(doubt.about == "head" for doubt in judge(depot).doubts)
    if lost and not any(f.kind == "ledger" for f in faults):
        reached.note(depot.root, depot.books.ledger.head())
        yield f"{depot.root / reached.NAME}: written anew, as books and register tell."


def _made_anew(depot: Depot, known: registers.Register | None) -> registers.Register:
    made = made_from_books(depot)
    for one in known.withdrawals if known else ():
        made = made.with_withdrawal(one) if one.taken_back else made
    return made


def _is_older(depot: Depot, known: registers.Register) -> bool:
    """Whether books that are not those the register knows are newer ones of the same depot, and whole."""
    try:
        with depot.opened() as books:
            newer = books.word() == known.depot and books.ledger.head().sequence > known.head.sequence
            whole = newer and not ledger_problems(depot) and not list(damage(books))
            return whole and judge(depot).two_agree
    except Unusable:
        return False


def _stored(depot: Depot, faults: list[Fault], sources: Sources) -> Iterator[str]:
    """Payload files."""
    for fault in faults:
        if fault.kind in ("raw", "closed") and fault.sha256:
            for source, content in _copies(depot, fault, sources):
                if _put(depot, fault, content):
                    yield f"{fault.file}: from {source}."
                    break


def _copies(depot: Depot, fault: Fault, sources: Sources) -> Iterator[tuple[str, Path | bytes]]:
    """Files that may have the bytes, nearest first."""
    sha = fault.sha256
    own = (keys.raw(sha), *(key for key in depot.store.below(keys.CLOSED) if key.endswith(f"/{sha}")))
    yield from (("the depot itself", depot.store.local(key)) for key in own if key != fault.key)
    if sources.backup is not None:
        backup = sources.backup
        yield from (("the backup", p) for p in (backup / "raw" / sha[:2] / sha, *backup.glob(f"closed/*/{sha}")))
    if sources.inbox is None:
        return
    names = Names(bool, depot.books.withdrawals.word_of_name)
    for delivery_id in sorted(depot.books.deliveries.ids()):
        stored = depot.books.deliveries.payload(delivery_id).stored
        paths = [path for path, own in stored.items() if own == sha]
        record = depot.books.deliveries.get(delivery_id)
        if paths and record is not None:
            arrival = path_of(sources.inbox, record.arrival, names)
            yield from (("the inbox", one) for path in paths for one in _in_arrival(arrival, path))


def _in_arrival(arrival: Path, path: str) -> Iterator[Path | bytes]:
    if arrival.is_dir():
        yield bag_in(arrival) / "data" / path
    elif zipfile.is_zipfile(arrival):
        with zipfile.ZipFile(arrival) as archive:
            for info in archive.infolist():
                if info.filename.replace("\\", "/").endswith(f"/data/{path}"):
                    with suppress(Exception):  # a damaged member is no source
                        yield archive.read(info)


def _copied(depot: Depot, faults: list[Fault], sources: Sources) -> Iterator[str]:
    """Files of results and releases from the backup."""
    if sources.backup is None:
        return
    for fault in faults:
        copied = fault.kind in ("result", "release") and fault.sha256
        if copied and _put(depot, fault, sources.backup / fault.key):
            yield f"{fault.file}: from the backup."


def damaged_results(depot: Depot, faults: list[Fault]) -> tuple[list[str], list[str]]:
    """Deliveries whose results are damaged: those that can be judged again from what the depot holds, and those it
    does not hold, which are left to the inbox."""
    without = {fault.about for fault in faults if fault.kind in ("raw", "closed")}
    again: list[str] = []
    others: list[str] = []
    for name in sorted({fault.about for fault in faults if fault.kind == "result"} - without):
        record = depot.books.deliveries.get(name)
        if record is not None:
            (again if record.held else others).append(name)
    return again, others


def forget(desk: Desk, name: str) -> None:
    """Take a delivery out that the depot does not hold, so that the inbox is asked for it."""
    from pipelines.depot import exchange

    def decide() -> None:
        with desk.books.transaction():
            desk.books.deliveries.drop(name)
            desk.books.files.drop(keys.result(name))
            desk.ledger.write("withdrawn", name, "Its result was damaged; it is taken in again from the inbox.")

    exchange.withdraw(desk.depot, name, decide)


def _put(depot: Depot, fault: Fault, source: Path | bytes) -> bool:
    """Put an object in its place again if the source has the bytes it must have."""
    if isinstance(source, Path) and (source.is_symlink() or not source.is_file()):
        return False
    with (
        suppress(OSError, OtherBytesError),
        source.open("rb") if isinstance(source, Path) else io.BytesIO(source) as incoming,
    ):
        put_back(depot.store, fault.key, incoming, fault.sha256)
        return True
    return False
