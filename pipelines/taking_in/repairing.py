"""Mends what ``pipelines.depot.verify`` finds: from copies in the depot, the inbox or a backup, or by judging again.

Nothing is taken that does not have the checksum the books ask for. What has no source is left and told. What the books
do not know is never removed here: it may be the only copy of something.
"""

from __future__ import annotations

import io
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot import register as registers
from pipelines.depot.books.opening import FILE
from pipelines.depot.desk import Desk
from pipelines.depot.guarding import damage, end_of_command, made_from_books
from pipelines.depot.ledger import Head
from pipelines.depot.proof import ledger_problems
from pipelines.depot.published import sha256_of
from pipelines.depot.storage import CLOSED_ONLY, READ_ONLY, Depot
from pipelines.depot.store import OtherBytesError, Store
from pipelines.depot.verify import Fault, verify
from pipelines.errors import Unusable
from pipelines.intake.bag_files import bag_in
from pipelines.study.file import load_study
from pipelines.taking_in.building import build
from pipelines.taking_in.noting import again
from pipelines.taking_in.opening import open_desk


@dataclass
class Repaired:
    """What was found, what was mended and from where, and what is left."""

    found: list[Fault]
    mended: list[str] = field(default_factory=list)
    left: list[Fault] = field(default_factory=list)


@dataclass(frozen=True)
class Sources:
    """Where good bytes may lie. backup: a folder that ``manystrides backup`` made."""

    inbox: Path | None = None
    backup: Path | None = None


def repair(study_path: Path, depot: Depot, by: str, sources: Sources, exported: Head | None = None) -> Repaired:
    """Mend a depot as far as there are sources. Raises Unusable if it cannot be held, or the study file is unusable."""
    study = load_study(study_path)
    with depot.alone(by):
        done = Repaired(verify(depot, exported))
        done.mended += _books(depot, done.found, sources)
        faults = verify(depot, exported)
        if not any(fault.kind == "books" and fault.file.name == FILE for fault in faults):
            with depot.opened(to_write=True), suppress(_StopError):
                done.mended += _register(depot, faults)
                done.mended += _stored(depot, faults, sources)
                done.mended += _copied(depot, faults, sources)
                with open_desk(depot, study, by) as desk:
                    done.mended += _made_again(desk, verify(depot, exported))
                    if done.mended:
                        told = {"found": len(done.found), "mended": len(done.mended)}
                        desk.ledger.write("repaired", "depot", "manystrides verify found faults.", **told)
            end_of_command(depot)
        done.left = verify(depot, exported)
    return done


class _StopError(Exception):
    """Nothing more can be mended."""


def _books(depot: Depot, faults: list[Fault], sources: Sources) -> Iterator[str]:
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


def _register(depot: Depot, faults: list[Fault]) -> Iterator[str]:
    if not any(f.kind == "register" for f in faults):
        return
    if any(f.kind == "ledger" for f in faults):
        raise _StopError  # a register made from a ledger that is not whole would hide it
    try:
        known = registers.read(depot.register)
    except Unusable:
        known = None
    if known is None or known.depot == depot.books.word():
        for listed in known.in_force.values() if known else ():
            if not depot.books.withdrawals.is_as(listed):
                with depot.books.transaction():
                    depot.books.withdrawals.drop(listed.tombstone)
                    depot.books.jobs.take_over(listed)
                yield f"{depot.root}: withdrawal {listed.tombstone} is in the books again, from the register."
        if known is None or _goes_on(depot, known):
            registers.write(depot.register, _made_anew(depot, known))
            yield f"{depot.register}: made anew from the books."


def _goes_on(depot: Depot, known: registers.Register) -> bool:
    """Whether the ledger goes on where the register knew it to end."""
    head = known.head
    return head.sequence == 0 or depot.books.ledger.hash_of(head.sequence) == head.hash


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
            return newer and _goes_on(depot, known) and not ledger_problems(depot) and not list(damage(depot.books))
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
    for delivery_id in sorted(depot.books.deliveries.ids()):
        stored = depot.books.deliveries.payload(delivery_id).stored
        paths = [path for path, own in stored.items() if own == sha]
        record = depot.books.deliveries.get(delivery_id)
        if paths and record is not None:
            arrival = sources.inbox / record.arrival
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


def _made_again(desk: Desk, faults: list[Fault]) -> Iterator[str]:
    """Results judged again from raw, or left to the inbox; warehouse and pages built."""
    depot, books = desk.depot, desk.books
    without = {fault.about for fault in faults if fault.kind in ("raw", "closed")}
    for name in sorted({fault.about for fault in faults if fault.kind == "result"} - without):
        record = books.deliveries.get(name)
        if record is None:
            continue
        if record.held and not _tags_lost(depot, faults, name):
            again(desk, record, "Its result was damaged.", lambda done, of: None)
            yield f"{depot.result(name).shown()}: judged again from the depot's raw files."
        elif not record.held:
            _forget(desk, name)
            forgotten = "forgotten; the next run takes it in again if it is still in the inbox."
            yield f"{depot.result(name).shown()}: {forgotten}"
    if any(fault.kind in ("built", "result") for fault in faults):
        depot.store.remove(keys.WAREHOUSE)  # nothing of it is used
        build(desk, lambda text: None)
        yield f"{depot.warehouse}, {depot.pages.shown()}: built anew."


def _tags_lost(depot: Depot, faults: list[Fault], name: str) -> bool:
    """Whether the bag's own files are damaged, without which the delivery cannot be put together again."""
    bag = f"{keys.result(name)}/bag/"
    return any(fault.about == name and fault.key.startswith(bag) for fault in faults)


def _forget(desk: Desk, name: str) -> None:
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
    closed = fault.kind == "closed"
    if closed:
        for folder in (keys.CLOSED, fault.key.rpartition("/")[0]):
            depot.store.shut(folder)
    mode = CLOSED_ONLY if closed else READ_ONLY
    with (
        suppress(OSError, OtherBytesError),
        source.open("rb") if isinstance(source, Path) else io.BytesIO(source) as incoming,
    ):
        depot.store.copy_in(fault.key, incoming, fault.sha256, mode=mode)
        return True
    return False
