"""Everything the depot holds is hashed and compared with what the books say, and the books with ledger and register.

Here faults are found and told, each with its file, what was seen, what was expected and what to do; how they are mended
is in ``pipelines.assets.repairing``. Of the log, the lock, Dagster's history and ``work/``, which prove nothing, only
that they are what the depot writes there. The depot is held meanwhile, so that nobody writes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pipelines.depot import keys
from pipelines.depot.books.where import FILE
from pipelines.depot.exchange import REPLACED, undo_exchanges
from pipelines.depot.guarding import damage
from pipelines.depot.ledger import Head
from pipelines.depot.proof import ledger_problems
from pipelines.depot.strays import strays
from pipelines.depot.witnesses import judge, prove_books_file
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.storage import Depot
    from pipelines.depot.store import Store

Kind = Literal["books", "register", "head", "ledger", "raw", "closed", "result", "release", "built", "stray"]
REPAIR = "Run manystrides verify --repair, with --from BACKUP if you have one."
_ALONE = " Without the books nothing else can be compared."
_LOOK = "Find out where it comes from, and move it away."


@dataclass(frozen=True)
class Fault:
    """Something that is not as it was published. about: the delivery, release or built part; sha256: wanted.

    key: of an object of the depot's store.
    """

    kind: Kind
    file: Path
    seen: str
    expected: str
    remedy: str
    about: str = ""
    sha256: str = ""
    key: str = ""

    def line(self) -> str:
        """For people."""
        return f"{self.file}: {self.seen} Expected: {self.expected} What to do: {self.remedy}"


def verify(depot: Depot, exported: Head | None = None) -> list[Fault]:
    """Every fault of a depot that nobody writes to. exported: a head of the ledger that was kept elsewhere.

    Raises Unusable if there is no depot.
    """
    if not (depot.exists or depot.store.exists(keys.DELIVERIES)):
        raise Unusable("There is no depot here.", "a depot.", "Name it with --depot.", file=depot.root)
    found = [*_word(depot), *_beside(depot)]
    books = depot.root / FILE
    if depot.books_url is None and not books.exists():
        remedy = (
            "If they are in a database, name it with --books or MANYSTRIDES_BOOKS. If not, run manystrides verify "
            "--repair --from BACKUP, or manystrides restore."
        )
        return [*found, Fault("books", books, "The file is missing." + _ALONE, "the books of the depot.", remedy)]
    try:
        prove_books_file(depot)
        with depot.opened():
            if depot.may_write:
                undo_exchanges(depot, clear=False)
            else:
                _refuse_rests(depot)
            told = "Run manystrides restore with your newest backup."
            found += [Fault("books", books, seen, "whole books.", told) for seen in damage(depot.books)]
            found += _register(depot)
            found += _ledger(depot, exported)
            found += _files(depot)
    except Unusable as problem:
        kind: Kind = "register" if problem.file == str(depot.register) else "books"
        more = "" if kind == "register" else _ALONE
        found.append(
            Fault(kind, Path(problem.file or depot.root), problem.seen + more, problem.expected, problem.remedy)
        )
    return found


def _word(depot: Depot) -> Iterator[Fault]:
    from pipelines.depot.books.where import WORD

    marker = depot.root / WORD
    if not marker.exists():
        remedy = "Nothing: it was written again from the books, unless they are another depot's."
        yield Fault(
            "books", marker, "The file is missing.", "the word by which depot and books know each other.", remedy
        )


def _beside(depot: Depot) -> Iterator[Fault]:
    """What the depot did not write, beside what it keeps."""
    for path, what in strays(depot):
        expected = "nothing but what manystrides writes there."
        yield Fault("stray", path, f"It is {what} that no command of manystrides wrote.", expected, _LOOK)


def _refuse_rests(depot: Depot) -> None:
    """Raises Unusable if a killed command left a result half exchanged, which nobody can undo who may not write."""
    if any(REPLACED in name for name in depot.store.names(keys.WORK)):
        raise Unusable(
            "A command was killed here while it exchanged the result of a delivery.",
            "a depot whose last command came to its end.",
            "Let its owner run manystrides verify, or read a copy of the depot.",
            file=depot.root,
        )


def _register(depot: Depot) -> Iterator[Fault]:
    for doubt in judge(depot).doubts:
        told = doubt.problem
        yield Fault(doubt.about, Path(told.file or depot.root), told.seen, told.expected, told.remedy)


def _ledger(depot: Depot, exported: Head | None) -> Iterator[Fault]:
    remedy = "Find out who changed it; then restore a backup (manystrides restore)."
    try:
        problems = ledger_problems(depot, exported)
    except Unusable as problem:  # the entry of a release, which is looked at with the release
        problems = []
        yield Fault(
            "release",
            Path(str(problem.file)),
            problem.seen,
            problem.expected,
            REPAIR,
            Path(str(problem.file)).parent.name,
        )
    yield from (Fault("ledger", depot.root, f"In the ledger, {p}.", "a whole ledger.", remedy) for p in problems)


def _files(depot: Depot) -> Iterator[Fault]:
    yield from _stored(depot)
    store, published = depot.store, depot.books.files.all()
    results = depot.books.deliveries.ids()
    for delivery_id in sorted(results):
        place = keys.result(delivery_id)
        yield from _place(depot, place, published.get(place, {}), "result", delivery_id)
    strays = (keys.result(name) for name in depot.delivery_ids() if name not in results)
    yield from (_stray(depot, key, "a delivery") for key in strays)
    shelf = depot.books.releases.all()
    for entry in shelf:
        place = keys.release(entry.name)
        deleted = entry.superseded_utc and not store.is_there(place)  # as the consent may ask
        if not deleted:
            yield from _place(depot, place, published.get(place, {}), "release", entry.name)
    listed = {entry.name for entry in shelf}
    others = (keys.release(name) for name in store.names(keys.RELEASES) if name not in listed)
    yield from (_stray(depot, key, "a release") for key in others)
    for built in keys.BUILT:
        if built in published:
            yield from _place(depot, built, published[built], "built", built)
        else:
            there = store.below(built) or ([built] if store.is_object(built) else [])
            yield from (_stray(depot, key, "what was built") for key in there)


def _stored(depot: Depot) -> Iterator[Fault]:
    """Payload files in raw and closed, both ways."""
    wanted: dict[str, tuple[Kind, str, str]] = {}
    for delivery_id in sorted(depot.books.deliveries.ids()):
        for _, key, sha in keys.payload(delivery_id, depot.books.deliveries.payload(delivery_id)):
            wanted[key] = ("closed" if key.startswith(f"{keys.CLOSED}/") else "raw", delivery_id, sha)
    for key, (kind, delivery_id, sha) in sorted(wanted.items()):
        expected = f"a file of delivery {delivery_id} with the SHA-256 that begins {sha[:12]}."
        yield from _object(depot, key, kind, expected, delivery_id, sha)
    for folder in (keys.RAW, keys.CLOSED):
        strays = (key for key in depot.store.below(folder) if key not in wanted)
        yield from (_stray(depot, key, "a payload file of a delivery") for key in strays)


def _place(depot: Depot, place: str, published: Mapping[str, str], kind: Kind, about: str) -> Iterator[Fault]:
    """Files of one place, both ways."""
    files = {(f"{place}/{path}" if path != place else place): sha for path, sha in published.items()}
    if not files:
        seen, expected = "The books have no checksums of it.", "checksums of its files."
        yield Fault(kind, Path(depot.store.shown(place)), seen, expected, REPAIR, about, key=place)
    for key, sha in sorted(files.items()):
        expected = f"the file that was published, with the SHA-256 that begins {sha[:12]}."
        yield from _object(depot, key, kind, expected, about, sha)
    yield from (_stray(depot, key, f"a file of {about}") for key in depot.store.below(place) if key not in files)


def _object(depot: Depot, key: str, kind: Kind, expected: str, about: str, sha: str) -> Iterator[Fault]:
    """What is wrong with one object, if anything."""
    seen = _seen(depot.store, key, sha)
    if seen is None and key.endswith(".parquet"):
        seen = _unreadable(depot.store, key)
    if seen is not None:
        yield Fault(kind, Path(depot.store.shown(key)), seen, expected, REPAIR, about, sha, key)


def _seen(store: Store, key: str, sha: str) -> str | None:
    """What is wrong with an object's bytes, as a sentence; None if it has the checksum."""
    if store.is_there(key) and not store.is_object(key):
        return "It is no regular file."
    try:
        own = store.sha256(key)
    except FileNotFoundError:
        return "The file is missing."
    except OSError as error:
        return f"The file cannot be read: {error.strerror}."
    return (
        None if own == sha else f"Its content was changed or cut: it has {store.size(key)} bytes, SHA-256 {own[:12]}."
    )


def _unreadable(store: Store, key: str) -> str | None:
    import pyarrow as pa
    import pyarrow.parquet as parquet

    try:
        parquet.read_table(store.local(key))
    except (OSError, pa.ArrowException) as error:
        return f"It cannot be read as Parquet: {error}."
    return None


def _stray(depot: Depot, key: str, what: str) -> Fault:
    expected = f"nothing but {what} that they name."
    return Fault("stray", Path(depot.store.shown(key)), "The books do not know it.", expected, _LOOK, key=key)
