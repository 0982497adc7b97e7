"""A copy of a depot that is of one moment, and how a depot is made from it again.

The moment is that of the books: SQLite gives a copy of them as they are between two transactions (its backup
interface); of PostgreSQL every row is read in one transaction into a file of the same form. Then the files that those
books name are copied and hashed. A run that goes on meanwhile may replace a result or remove a file: what then does not
have its checksum is copied again with newer books, and in the end with the depot held, so that no copy is ever of two
moments. Warehouse, pages and log are not copied: they are made again.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot import keys, reached
from pipelines.depot import register as registers
from pipelines.depot.books.copying import copy_books, fill_database
from pipelines.depot.books.opening import make_engine, mark, open_books
from pipelines.depot.books.where import FILE, WORD
from pipelines.depot.disk import OtherBytesError, remove_tree, to_disk, write_bytes
from pipelines.depot.guarding import end_of_command, made_from_books
from pipelines.depot.ledger import Head, Ledger
from pipelines.depot.modes import nothing_for_everybody
from pipelines.depot.published import sha256_of
from pipelines.depot.registers_beside import BACKUPS as REGISTER
from pipelines.depot.registers_beside import latest_register, nothing_known_since, register_of
from pipelines.depot.storage import Depot, put_back
from pipelines.depot.store import Store
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

TOLD = "backup.json"
_TRIES = 3


@dataclass(frozen=True)
class Copied:
    """What was copied. linked: files that the backup before had, and that are kept once for both."""

    folder: Path
    files: int
    bytes: int
    linked: int
    tries: int

    def text(self) -> str:
        """For people."""
        return (
            f"{self.folder}: {self.files} files, {self.bytes / 1e6:.1f} MB"
            + (f", {self.linked} of them shared with the backup before" if self.linked else "")
            + ".\nEvery file has the checksum that the books in the copy tell. It holds people's data: keep it no "
            "longer than the consent says."
        )


@dataclass(frozen=True)
class Restored:
    """What was put back. again: withdrawals that were asked for after the copy was made, and are carried out anew.

    fell_back: whether no register but the backup's was found.
    """

    depot: Depot
    files: int
    lines_lost: int
    again: int
    fell_back: bool = False

    def text(self) -> str:
        """For people."""
        lines = [f"{self.depot.root}: {self.files} files put back, each with its checksum."]
        if self.lines_lost:
            lines.append(f"{self.lines_lost} lines of the ledger were written after the copy was made, and are lost.")
        if self.again:
            lines.append(f"{self.again} withdrawals were asked for since; the next command carries them out again.")
        if self.fell_back:
            lines.append("It falls back on the register of the backup: WITHDRAWALS SINCE THEN ARE NOT KNOWN.")
            lines.append("Ask for each of them again with manystrides withdraw, before anything else.")
        return "\n".join([*lines, "Run manystrides run: it builds warehouse and pages and takes in what came since."])


def back_up(depot: Depot, target: Path, actor: str) -> Copied:
    """Copy a depot into a new folder in ``target``, whether or not a run goes on.

    Raises Unusable if there is no depot, or if a file of it is damaged.
    """
    if not depot.exists:
        raise Unusable("There is no depot here.", "a depot.", "Name it with --depot.", file=depot.root)
    if target.absolute().is_relative_to(depot.root):
        seen = "The backup would lie inside the depot."
        raise Unusable(seen, "a folder elsewhere, better on another disk.", "Name another.", file=target)
    now = datetime.now(UTC)
    final = target / f"{depot.root.name}-{now:%Y-%m-%dT%H-%M-%S}"
    before = max((p.parent for p in target.glob(f"*/{TOLD}")), default=None)
    part = target / f".{final.name}.part"
    with nothing_for_everybody():
        target.mkdir(parents=True, exist_ok=True)
        part.mkdir(mode=stat.S_IRWXU)
        try:
            done = _copy(depot, part, before, actor)
            told = {"form": 1, "made_utc": now.isoformat(timespec="seconds"), "by": actor, "depot": depot.root.name}
            told["books_sha256"] = sha256_of(part / FILE)
            write_bytes(part / TOLD, json.dumps(told, indent=1).encode(), owner_only=True)
            part.rename(final)
            to_disk(target)
        except BaseException:
            remove_tree(part)
            raise
    return Copied(final, *done)


def restore(source: Path, depot: Depot, actor: str, *, fall_back: bool = False) -> Restored:
    """Make a depot from a backup, in a place where there is none.

    What the depot's own register knows of withdrawals since counts: the one beside the new place or the backup, under
    whatever name, that reaches furthest. fall_back: whether the backup's own may do where there is none. Raises
    Unusable if something is there, if the backup is not whole, or if withdrawals since would not be known.
    """
    if depot.root.exists() and any(depot.root.iterdir()):
        remedy = "Move what is there away, or name another place with --depot."
        raise Unusable("There is something in this place already.", "no depot.", remedy, file=depot.root)
    told = _told(source)
    if sha256_of(source / FILE) != told["books_sha256"]:
        raise _not_whole(source / FILE)
    with nothing_for_everybody():
        part = depot.root.with_name(f".{depot.root.name}.restored")
        remove_tree(part)
        part.mkdir(parents=True, mode=stat.S_IRWXU)
        shutil.copyfile(source / FILE, part / FILE)
        (part / FILE).chmod(stat.S_IRUSR | stat.S_IWUSR)
        with closing(open_books(part)) as books:
            newer = latest_register(depot.register, source, books.word())
            if newer is None and not fall_back:
                remove_tree(part)
                raise nothing_known_since(depot.register)
            files, target = _wanted(books), Store.on_disk(part)
            for key, sha in sorted(files.items()):
                if not _put(Store.on_disk(source), target, key, sha):
                    raise _not_whole(source / key)
            target.sync(files)
            word = books.word()
        if depot.books_url:
            _into_database(part, depot)
        if depot.root.exists():
            depot.root.rmdir()
        (part / WORD).unlink(missing_ok=True)
        mark(part, word)
        part.chmod(stat.S_IRWXU | stat.S_IRGRP | stat.S_IXGRP)
        part.rename(depot.root)
        to_disk(depot.root.parent)
        return _begin_again(depot, source, newer, actor, len(files))


def _begin_again(depot: Depot, source: Path, since: registers.Register | None, actor: str, files: int) -> Restored:
    """The register of the restored depot: what was withdrawn since is kept; the head is that of the copy."""
    fell_back = since is None
    with depot.opened(to_write=True) as books:
        newer = since or register_of(source / REGISTER, books.word())
        head, once = books.ledger.head(), newer.head if newer else Head()
        made = made_from_books(depot)
        known = {listed.tombstone for listed in made.withdrawals}
        again = [one for one in (newer.in_force.values() if newer else ()) if one.tombstone not in known]
        for listed in again:
            made = made.with_withdrawal(listed)
        for one in newer.withdrawals if newer else ():
            if one.taken_back:
                made = made.with_withdrawal(one)
        reached.note(depot.root, head)
        registers.write(depot.register, made)
        with books.transaction():
            for built in keys.BUILT:  # they are made again
                books.files.drop(built)
        lost = max(once.sequence - head.sequence, 0)
        details = {"lines_lost": lost, "withdrawals_since": len(again), "register_of_backup": fell_back}
        why = "The depot was put back from a backup."
        Ledger(books, actor).write("restored", "depot", why, before=once.hash if lost else "", **details)
    end_of_command(depot)
    return Restored(depot, files, lost, len(again), fell_back)


def _into_database(part: Path, depot: Depot) -> None:
    """Fill the empty database that is named from the copied books."""
    source, target = make_engine(part, None), make_engine(depot.root, depot.books_url)
    try:
        fill_database(source, target)
    finally:
        source.dispose()
        target.dispose()
    for rest in part.glob(f"{FILE}*"):
        rest.unlink()


def _copy(depot: Depot, part: Path, before: Path | None, actor: str) -> tuple[int, int, int, int]:
    for number in range(1, _TRIES + 1):
        done = _once(depot, part, before)
        if done is not None:
            return (*done, number)
    with depot.alone(actor, wait_s=3600.0):
        done = _once(depot, part, before)
    if done is None:
        raise Unusable(
            "A file of the depot is not what was published, so that no whole copy can be made.",
            "a depot that is whole.",
            "Run manystrides verify, which names it.",
            file=depot.root,
        )
    return (*done, _TRIES + 1)


def _once(depot: Depot, part: Path, before: Path | None) -> tuple[int, int, int] | None:
    """Books, then the files they name; None if a file was no longer what those books tell."""
    with depot.opened() as books:
        (part / FILE).unlink(missing_ok=True)
        copy_books(books.engine, part / FILE)
        (part / FILE).chmod(stat.S_IRUSR | stat.S_IWUSR)
    if depot.register.exists():
        write_bytes(part / REGISTER, depot.register.read_bytes(), owner_only=True)
    with closing(open_books(part, to_write=False)) as copied:
        wanted = _wanted(copied)
    (part / WORD).unlink(missing_ok=True)
    copy, linked = Store.on_disk(part), 0
    for key, sha in wanted.items():
        if copy.is_object(key) and copy.sha256(key) == sha:  # of an earlier try
            continue
        if before is not None and depot.store.is_there(key) and _shared(before / key, part / key, sha):
            linked += 1
        elif not _put(depot.store, copy, key, sha):
            return None
    for key in copy.below():  # of an earlier try
        if key not in wanted and key != REGISTER and not key.startswith(FILE):
            copy.remove(key)
    copy.sync(wanted)
    return len(wanted), sum(map(copy.size, wanted)), linked


def _shared(older: Path, target: Path, sha: str) -> bool:
    """Whether the backup before has a file, so that it can be kept once for both."""
    if not older.is_file() or sha256_of(older) != sha:
        return False
    target.parent.mkdir(parents=True, exist_ok=True)
    target.unlink(missing_ok=True)
    try:
        os.link(older, target)
    except OSError:  # another disk, or one without second names
        return False
    return True


def _put(source: Store, target: Store, key: str, sha: str) -> bool:
    """Copy an object, not yet synced; whether it was there with the bytes it must have."""
    try:
        with source.open(key) as incoming:
            put_back(target, key, incoming, sha, sync=False)
    except (FileNotFoundError, OtherBytesError):
        return False
    return True


def _wanted(books: Books) -> dict[str, str]:
    """Key -> SHA-256, of every object that these books name and that cannot be made again."""
    found: dict[str, str] = {}
    for delivery_id in books.deliveries.ids():
        found |= {key: sha for _, key, sha in keys.payload(delivery_id, books.deliveries.payload(delivery_id))}
    releases = {keys.release(e.name): bool(e.superseded_utc) for e in books.releases.all()}
    for place, files in books.files.all().items():
        if place.startswith(f"{keys.DELIVERIES}/") or (place in releases and not releases[place]):
            found |= {f"{place}/{path}": sha for path, sha in files.items()}
    return found


def _told(source: Path) -> dict[str, str]:
    try:
        told: dict[str, str] = json.loads((source / TOLD).read_text(encoding="utf-8"))
        if not isinstance(told.get("books_sha256"), str) or not (source / FILE).is_file():
            raise ValueError("it is not complete")
    except (OSError, ValueError, AttributeError) as error:
        expected = "a folder that manystrides backup made."
        raise Unusable(f"This is no backup: {error}.", expected, "Name another.", file=source) from None
    return told


def _not_whole(file: Path) -> Unusable:
    seen = "The file is missing, or is not the one that was copied."
    return Unusable(seen, "a file with the checksum that the books tell.", "Take another backup.", file=file)
