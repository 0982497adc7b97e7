"""Mends what ``pipelines.depot.verify`` finds, as far as bytes go: from copies in the depot, the inbox or a backup.

What is judged and built again for it, is so by the graph (``pipelines.assets.repairing``). Nothing is taken that does
not have the checksum the books ask for. What has no source is left and told. What the books do not know is never
removed here: it may be the only copy of something.
"""

from __future__ import annotations

import shutil
import stat
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from pipelines.depot import register as registers
from pipelines.depot.books.opening import FILE
from pipelines.depot.desk import Desk
from pipelines.depot.guarding import made_from_books
from pipelines.depot.modes import only_for_the_owner
from pipelines.depot.proof import ledger_problems
from pipelines.depot.published import sha256_of
from pipelines.depot.storage import Depot, to_disk
from pipelines.depot.verify import Fault, damage
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
        _put(copy, target, sha, owner_only=True)
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
    """Register and files from their sources. Raises StopError if the ledger is not whole."""
    yield from _register(depot, faults)
    yield from _stored(depot, faults, sources)
    yield from _copied(depot, faults, sources)


def _register(depot: Depot, faults: list[Fault]) -> Iterator[str]:
    if not any(f.kind == "register" for f in faults):
        return
    if any(f.kind == "ledger" for f in faults):
        raise StopError  # a register made from a ledger that is not whole would hide it
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
            return newer and _goes_on(depot, known) and not ledger_problems(depot) and not list(damage(depot))
    except Unusable:
        return False


def _stored(depot: Depot, faults: list[Fault], sources: Sources) -> Iterator[str]:
    """Payload files."""
    for fault in faults:
        if fault.kind in ("raw", "closed") and fault.sha256:
            for source, content in _copies(depot, fault, sources):
                if _put_bytes(content, fault.file, fault.sha256, owner_only=fault.kind == "closed", depot=depot):
                    yield f"{fault.file}: from {source}."
                    break


def _copies(depot: Depot, fault: Fault, sources: Sources) -> Iterator[tuple[str, Path | bytes]]:
    """Files that may have the bytes, nearest first."""
    sha = fault.sha256
    yield from (
        ("the depot itself", p) for p in (depot.raw_path(sha), *depot.closed.glob(f"*/{sha}")) if p != fault.file
    )
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
        if fault.kind in ("result", "release") and fault.sha256:
            copy = sources.backup / fault.file.relative_to(depot.root)
            if _put_bytes(copy, fault.file, fault.sha256, owner_only=False, depot=depot):
                yield f"{fault.file}: from the backup."


def damaged_results(depot: Depot, faults: list[Fault]) -> tuple[list[str], list[str]]:
    """Deliveries whose results are damaged: those that can be judged again from what the depot holds, and those it
    does not hold, which are left to the inbox."""
    without, again, others = {fault.about for fault in faults if fault.kind in ("raw", "closed")}, [], []
    for name in sorted({fault.about for fault in faults if fault.kind == "result"} - without):
        record = depot.books.deliveries.get(name)
        if record is not None and record.held and not _tags_lost(depot, faults, name):
            again.append(name)
        elif record is not None and not record.held:
            others.append(name)
    return again, others


def _tags_lost(depot: Depot, faults: list[Fault], name: str) -> bool:
    """Whether the bag's own files are damaged, without which the delivery cannot be put together again."""
    bag = depot.delivery_path(name) / "bag"
    return any(fault.about == name and fault.file.is_relative_to(bag) for fault in faults)


def forget(desk: Desk, name: str) -> None:
    """Take a delivery out that the depot does not hold, so that the inbox is asked for it."""
    from pipelines.depot import exchange

    def decide() -> None:
        with desk.books.transaction():
            desk.books.deliveries.drop(name)
            desk.books.files.drop(f"deliveries/{name}")
            desk.ledger.write("withdrawn", name, "Its result was damaged; it is taken in again from the inbox.")

    exchange.withdraw(desk.depot, name, decide)


def _put_bytes(content: Path | bytes, target: Path, sha: str, *, owner_only: bool, depot: Depot) -> bool:
    """Put a file in its place if the source has the checksum."""
    if isinstance(content, Path):
        if content.is_symlink() or not content.is_file():
            return False
        with suppress(OSError):
            if sha256_of(content) == sha:
                _put(content, target, sha, owner_only=owner_only)
                return True
        return False
    with depot.working("mended") as work:
        (work / sha).write_bytes(content)
        return _put_bytes(work / sha, target, sha, owner_only=owner_only, depot=depot)


def _put(source: Path, target: Path, sha: str, *, owner_only: bool) -> None:
    if owner_only:
        only_for_the_owner(target.parent)
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = target.with_name(f".{target.name}.mended")
    shutil.copyfile(source, beside)
    beside.chmod(stat.S_IRUSR | (stat.S_IWUSR if target.name == FILE else 0) | (0 if owner_only else stat.S_IRGRP))
    if sha256_of(beside) != sha:
        beside.unlink()
        raise OSError(f"{target} could not be written as it was read")
    to_disk(beside)
    beside.replace(target)
    to_disk(target.parent)
