"""Texts that wait for a look: listed for one person, who allows or refuses each; it counts from the next run.

What waits is found where deliveries are judged (``pipelines.consent.held_texts``); decisions stand in the books by a
keyed hash, and in the ledger without the text.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from pipelines.consent import held_texts
from pipelines.consent.held_texts import Waiting
from pipelines.depot.books.rows import ALLOWED, OPEN, REFUSED, Decision
from pipelines.depot.ledger import Ledger
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.identity.identifiers import NOBODY, kinds_in, scan
from pipelines.identity.reasons import refuse_runner_as_name, refuse_who

_MOST_PLACES = 3
_LEAST_LETTERS = 8


@dataclass(frozen=True)
class Looked:
    """One text that nobody has allowed, over all deliveries. places: delivery and place."""

    word: str
    text: str
    refused: bool
    places: tuple[str, ...]

    def lines(self) -> Iterator[str]:
        """The text, what the scanner thinks it may hold, and where it stands, for the person who decides."""
        plain = "".join(c if c.isprintable() else "?" for c in self.text)
        hints = ", ".join([*(["refused"] if self.refused else []), *kinds_in(scan(self.text))])
        yield f"{self.word[:8]}  {plain}{f'   ({hints})' if hints else ''}"
        more = len(self.places) - _MOST_PLACES
        yield from (f"          {place}" for place in self.places[:_MOST_PLACES])
        if more > 0:
            yield f"          and at {more} more {'place' if more == 1 else 'places'}"


def texts_of(depot_root: str, *, refused: bool = False) -> list[Looked]:
    """Texts that wait, those that stand in the most places first. refused: those that were refused, too."""
    depot = _depot(depot_root)
    with depot.opened() as books:
        waiting = _waiting(depot)
        decided = books.texts.decided(waiting)
    shown = (OPEN, REFUSED) if refused else (OPEN,)
    kept = {word: found for word, found in waiting.items() if decided.get(word, OPEN) in shown}
    looked = [
        Looked(word, found[0][1].text, word in decided, tuple(_places(found))) for word, found in sorted(kept.items())
    ]
    return sorted(looked, key=lambda one: -len(one.places))


def decide(depot_root: str, words: Sequence[str], decision: Decision, *, allowed: bool) -> list[str]:
    """Remember a decision on the texts whose hashes begin with ``words``; returns the hashes.

    decision: who, when and why. Raises Unusable if a word names no text that is held, or several; then nothing is
    decided.
    """
    if not decision.why.strip() or not decision.by.strip():
        seen = "A reason or a name is missing."
        raise Unusable(seen, "why it is decided, and by whom.", "Give both with --why and --as.")
    depot = _depot(depot_root)
    with depot.writing(decision.by), depot.opened() as books:
        refuse_who(decision.why, books.gates.every_runner(), NOBODY)
        refuse_runner_as_name(decision.by, books.gates.every_runner())
        known = set(_waiting(depot))
        chosen = [_one(word, known) for word in dict.fromkeys(words)]
        with books.transaction():
            for word in chosen:
                books.texts.decide(word, decision, allowed=allowed)
                Ledger(books, decision.by).decided(
                    f"text_{ALLOWED if allowed else REFUSED}", f"text-{word[:16]}", decision.why
                )
    return chosen


def now(why: str, by: str) -> Decision:
    """A decision made at this moment."""
    return Decision(why.strip(), by.strip(), datetime.now(UTC).isoformat(timespec="seconds"))


def _depot(root: str) -> Depot:
    depot = Depot(root)
    if not depot.exists:
        raise Unusable("There is no depot here.", "a depot.", "Name the depot with --depot.", file=depot.root)
    return depot


def _waiting(depot: Depot) -> dict[str, list[tuple[str, Waiting]]]:
    """Hash -> in which deliveries it is held, and where."""
    found: dict[str, list[tuple[str, Waiting]]] = defaultdict(list)
    for delivery_id in depot.delivery_ids():
        for one in held_texts.read(depot.result(delivery_id)):
            found[one.word].append((delivery_id, one))
    return found


def _places(found: Sequence[tuple[str, Waiting]]) -> Iterator[str]:
    for delivery_id, one in found:
        yield from (f"{delivery_id}: {place}" for place in one.places)


def _one(word: str, known: set[str]) -> str:
    fitting = sorted(k for k in known if len(word) >= _LEAST_LETTERS and k.startswith(word.strip().lower()))
    if len(fitting) != 1:
        seen = f"{word} names {'no text that is held' if not fitting else f'{len(fitting)} texts'}."
        raise Unusable(seen, "the word that stands before a text.", "Take it from manystrides texts list.")
    return fitting[0]
