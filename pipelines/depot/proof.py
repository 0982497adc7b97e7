"""The proof that the ledger of a depot is whole: its chain, its guards, and how far it once reached by who knew it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from typing import TYPE_CHECKING

from pipelines.depot import keys, reached
from pipelines.depot.ledger import Head, Reached, verify
from pipelines.depot.register import read
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.storage import Depot

#: What a release says of itself, in its own folder.
ENTRY = "entry.json"


def ledger_problems(depot: Depot, exported: Head | None = None) -> list[str]:
    """What does not fit in the ledger, in sentences; empty if it is whole. The depot must be opened.

    exported: how far it once went, as somebody keeps it elsewhere.
    """
    books = depot.books
    found = [f"line {p.line}: {p.text}" for p in verify(books.ledger.entries(), _reached(depot, exported))]
    return found if books.ledger.guarded() else [*found, "the database no longer refuses to change lines"]


def _reached(depot: Depot, exported: Head | None) -> Iterator[Reached]:
    """How far the ledger once went, by books, register, the folders of the releases and what was kept elsewhere."""
    if exported is not None:
        yield Reached(exported, "the head that was kept elsewhere")
    with suppress(Unusable):  # a damaged register is told by verify and by every command that writes
        if (known := read(depot.register)) is not None and known.depot == depot.books.word() and known.head.sequence:
            yield Reached(known.head, "the register")
    with suppress(Unusable):
        if (own := reached.known(depot.root)) is not None and own.sequence:
            yield Reached(own, f"the file {reached.NAME}")
    if (head := depot.books.builds.reached()) is not None:
        yield Reached(head, "the last build")
    for entry in depot.books.releases.all():
        if entry.ledger_sequence:
            yield Reached(Head(entry.ledger_sequence, entry.ledger_hash), entry.name)
    for name in depot.store.names(keys.RELEASES):
        place = depot.store.at(keys.release(name))
        if not place.is_there(ENTRY):
            continue
        try:
            told = json.loads(place.read(ENTRY))
            head = Head(int(told.get("ledger_sequence", 0)), str(told.get("ledger_hash", "")))
        except (OSError, ValueError, AttributeError, TypeError) as error:
            seen = f"It cannot be read: {error}."
            raise Unusable(
                seen, "the entry of a release.", "Put it back from your backup.", file=place.shown(ENTRY)
            ) from None
        if head.sequence:
            yield Reached(head, f"the folder of {name}")
