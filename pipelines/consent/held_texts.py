"""Texts that wait until a person has looked at them: kept out of what is stored in the open and shown, a mark instead.

What need not be looked at is said in ``pipelines.identity.vocabulary``; the decisions are in the books, by a keyed hash
of the text. The texts themselves lie in a file of the delivery's own folder, for its owner alone, for as long as nobody
has allowed them; only those whose rows consent covers.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.depot.books.rows import ALLOWED, OPEN, REFUSED
from pipelines.depot.keys import HELD_TEXTS
from pipelines.identity.file_names import kind_of, told_of
from schemas import fields
from schemas.catalogue import tables_of
from schemas.consent import Consent
from schemas.kept import left_out
from schemas.model import Layer
from schemas.privacy import WAYS
from schemas.reading import Held
from schemas.received import Problem, Received
from schemas.said import quoted, told

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books
    from pipelines.depot.store import Store

FILE = HELD_TEXTS
#: Columns of free text: nothing is worked out from them, so later stages see the mark itself.
_FREE = frozenset({fields.COMMENT.name, fields.RESEND_REASON.name})
_SHORT = 8  # letters of the hash by which people name a text


@dataclass(frozen=True)
class Waiting:
    """One text that waits or was refused. word: its hash; places: where it stands, in a few words each."""

    word: str
    text: str = field(repr=False)
    decided: str
    places: tuple[str, ...]


@dataclass(frozen=True)
class HeldTexts:
    """All that a delivery holds of texts which needed a person.

    decided: hash -> what was decided. waiting: those that nobody has allowed and that may be looked at. files: payload
    paths that hold one which nobody has allowed. marks: text -> what is shown instead.
    """

    decided: Mapping[str, str] = field(default_factory=dict)
    waiting: tuple[Waiting, ...] = ()
    files: frozenset[str] = frozenset()
    marks: Mapping[str, str] = field(default_factory=dict, repr=False)


def mark(text: str, word: str, decided: str) -> str:
    """What stands in the place of a text."""
    why = "not shown" if decided == REFUSED else "held for a look"
    return f"({len(text.strip())} characters {why}, text {word[:_SHORT]})"


def with_marks(books: Books, received: Received) -> Received:
    """The delivery as later stages may see it: a mark in each cell of free text that nobody has allowed.

    Rows with a code that nobody has allowed, such as a trial's id with a word that no list has, wait with it.
    Files that are not kept go by a number where their names are no known words.
    """
    received = replace(received, problems=tuple(_problems(books, received)))
    named = {one.text for one in received.held if one.table is None}
    unkept = {path: f"not-kept-{n}{kind_of(path)}" for n, path in enumerate(sorted(named & left_out(received)), 1)}
    files = tuple(replace(f, path=unkept.get(f.path, f.path)) for f in received.files)
    received = replace(received, files=files, held=tuple(h for h in received.held if h.text not in unkept))
    looked_at = {one.text for one in received.held if one.column in (*_FREE, *WAYS)}
    words = {text: books.texts.word(text) for text in looked_at}
    decided = books.texts.decided(words.values())
    codes = {one.text for one in received.held if one.column in WAYS}
    unlooked = frozenset(code for code in codes if decided.get(words[code], OPEN) != ALLOWED)
    tables = dict(received.tables)
    for table, column in sorted({(str(h.table), str(h.column)) for h in received.held if h.column in _FREE}):
        cells = tables[table][column].tolist()
        for one in (h for h in received.held if (h.table, h.column) == (table, column)):
            what = decided.get(words[one.text], OPEN)
            if what != ALLOWED and one.row is not None:
                cells[one.row] = mark(one.text, words[one.text], what)
        tables[table] = tables[table].assign(**{column: cells})
    return replace(received, tables=tables, unlooked=unlooked)


def with_own_words(received: Received) -> Received:
    """The delivery as its own laboratory may see it: every word in it is the laboratory's."""
    return replace(received, problems=tuple(told(problem, quoted) for problem in received.problems))


def _problems(books: Books, received: Received) -> Iterator[Problem]:
    """What was met, with a mark for each word of the sender that waits, and its length for one that nobody is shown."""
    waiting = {one.text for one in received.held} | {text for texts in received.unfit.values() for text in texts}

    def shown(text: str) -> str:
        path = text.removeprefix("data/")
        if path not in waiting:
            return told_of(text)
        word = books.texts.word(path)
        decided = books.texts.decided([word]).get(word, OPEN)
        return quoted(text) if decided == ALLOWED else text.removesuffix(path) + mark(path, word, decided)

    return (told(problem, shown) for problem in received.problems)


def held_texts(books: Books, consent: Consent, in_files: Iterable[Held]) -> HeldTexts:
    """What of a delivery's texts needed a person, and what was decided. in_files: of the recordings that were read."""
    received, in_files = consent.received, tuple(in_files)
    bytes_hold = [(file, text) for file, texts in received.unfit.items() for text in texts]
    bytes_hold += [(one.file, one.text) for one in in_files]
    every = {text for _, text in bytes_hold} | {one.text for one in received.held}
    words = {text: books.texts.word(text) for text in every}
    decided = books.texts.decided(words.values())
    still = {text: decided.get(words[text], OPEN) for text in every if decided.get(words[text], OPEN) != ALLOWED}
    places: dict[str, list[str]] = {}
    for one in (*_covered(consent), *in_files):
        if one.text in still:
            where = one.place if one.file == one.text else f"{_shown(one.file, still, words)}, {one.place}"
            places.setdefault(one.text, []).append(where)
    return HeldTexts(
        {words[text]: decided.get(words[text], OPEN) for text in every},
        tuple(Waiting(words[text], text, still[text], tuple(found)) for text, found in sorted(places.items())),
        frozenset(file for file, text in bytes_hold if text in still),
        {text: mark(text, words[text], what) for text, what in still.items() if len(text) > 1},
    )


def _shown(file: str, still: Mapping[str, str], words: Mapping[str, str]) -> str:
    return mark(file, words[file], still[file]) if file in still else file


def _covered(consent: Consent) -> Iterator[Held]:
    """Texts of tables and names of files, of rows and files that consent covers."""
    by_name = {table.name: table for table in tables_of(Layer.DELIVERY)}
    for one in consent.received.held:
        if one.column in WAYS:
            if consent.may_be_looked_at(one.text):
                yield one
        elif one.table is None:
            if one.file not in consent.hidden_files:
                yield one
        elif one.row is not None:
            mask = consent.covers(by_name[one.table])
            if one.row < len(mask) and mask[one.row]:
                yield one


def write(held: HeldTexts, folder: Path) -> None:
    """Keep the texts that wait in a delivery's folder, for its owner alone."""
    rows = [{"text": w.text, "word": w.word, "decided": w.decided, "places": list(w.places)} for w in held.waiting]
    if rows:
        with open(os.open(folder / FILE, os.O_WRONLY | os.O_CREAT, 0o600), "w", encoding="utf-8") as stream:
            json.dump(rows, stream, ensure_ascii=False, indent=1)


def read(result: Store) -> tuple[Waiting, ...]:
    """The texts of a delivery that nobody has allowed."""
    rows: list[dict[str, Any]] = json.loads(result.read(FILE)) if result.is_object(FILE) else []
    return tuple(Waiting(r["word"], r["text"], r["decided"], tuple(r["places"])) for r in rows)
