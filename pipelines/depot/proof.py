"""The proof that the ledger of a depot is whole: its chain, its guards, and how far it once reached by who knew it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING

from pipelines.depot.ledger import Head, Reached, verify
from pipelines.errors import Unusable

if TYPE_CHECKING:
    from pipelines.depot.storage import Depot


def ledger_problems(depot: Depot) -> list[str]:
    """What does not fit in the ledger, in sentences; empty if it is whole. The depot must be opened."""
    books = depot.books
    found = [f"line {p.line}: {p.text}" for p in verify(books.ledger.entries(), _reached(depot))]
    return found if books.ledger.guarded() else [*found, "the database no longer refuses to change lines"]


def _reached(depot: Depot) -> Iterator[Reached]:
    """How far the ledger once went, by the books and by the folders of the releases themselves."""
    if (head := depot.books.builds.reached()) is not None:
        yield Reached(head, "the last build")
    for entry in depot.books.releases.all():
        if entry.ledger_sequence:
            yield Reached(Head(entry.ledger_sequence, entry.ledger_hash), entry.name)
    for path in sorted(depot.releases.glob("release-*/entry.json")):
        try:
            told = json.loads(path.read_text(encoding="utf-8"))
            head = Head(int(told.get("ledger_sequence", 0)), str(told.get("ledger_hash", "")))
        except (OSError, ValueError, AttributeError, TypeError) as error:
            seen = f"It cannot be read: {error}."
            raise Unusable(seen, "the entry of a release.", "Put it back from your backup.", file=path) from None
        if head.sequence:
            yield Reached(head, f"the folder of {path.parent.name}")
