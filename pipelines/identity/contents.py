"""Searches the content of one file of a delivery, whatever its kind, for texts that may identify a person.

Texts that fit no closed vocabulary are collected, too. How much is searched is bounded: what would be left unsearched
raises, so that its caller keeps it out. What the places mean for the delivery is for ``guard``; the insides of
recordings are looked through elsewhere.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from pipelines.identity import identifiers
from pipelines.identity.identifiers import Found
from pipelines.identity.names import KnownNames
from pipelines.identity.vocabulary import NO_WORDS, Vocabulary
from schemas import fields
from schemas.catalogue import tables_of
from schemas.model import Kind, Layer
from schemas.quota import MIB, Quota
from schemas.reading import Held, Identifying

IDS = ("trial_id", "session_id", "participant_id")
MOST_BYTES = 64 << 20
_MOST_CELLS, _MOST_LINES, _MOST_WAITING = 5_000_000, 200_000, 20_000
#: Keys of a table descriptor whose values name tables and columns, not people.
_DEFINING = frozenset({"name", "title", "path", "reference", "fields", "type", "format"})
#: How a text is searched that stands in no field: as the name of a file, or of a column.
_AS_PATH, _AS_NAME = "\0path", "\0name"


_TABLES = {str(table.file_name): table for table in tables_of(Layer.DELIVERY)}
_COLUMNS = frozenset(name for table in tables_of(Layer.DELIVERY) for name in table.column_names)


@cache
def _descriptor_words() -> frozenset[str]:
    """Every key and text of the descriptors that are made here: words of the definitions, and of nobody."""
    from schemas.convert.to_frictionless import data_package

    made = data_package(tables_of(Layer.DELIVERY), "", "", {})
    return frozenset(key if value is None else value for key, value in _leaves(made))


#: Columns for words of one's own.
FREE_TEXT = frozenset({fields.COMMENT.name, fields.RESEND_REASON.name})


class TooMuchText(Exception):
    """There is more text than is searched; what was not searched may not be used."""


@dataclass
class Noted:
    """What was found so far. values: the texts themselves, for taking out only; they never leave this module.

    left: characters that may still be searched. plain: what need not be looked at by a person; unfit: file -> texts of
    it that must be; waiting: where they stand, as far as no column of the definitions tells.
    """

    known: KnownNames
    left: int
    plain: Vocabulary = NO_WORDS
    places: dict[Identifying, None] = field(default_factory=dict)
    values: set[str] = field(default_factory=set, repr=False)
    seen: dict[tuple[str, str], tuple[Found, ...]] = field(default_factory=dict, repr=False)
    unfit: dict[str, set[str]] = field(default_factory=dict, repr=False)
    waiting: list[Held] = field(default_factory=list, repr=False)

    def look(self, text: str, field_name: str, where: Identifying) -> bool:
        """Whether ``text``, which stands in a field of that name, identifies somebody; then it is noted."""
        return self.note(text, self._scanned(text, field_name), where)

    def weigh(
        self, text: str, file: str, place: str = "", row: tuple[str, int] | None = None, column: str = ""
    ) -> None:
        """Note a text of ``file`` that fits no closed vocabulary. row: its table and row, where it has one.

        column: of a table, if it is for words of one's own. place: where it stands, of a text that nobody else lists
        for the person who looks; "" for others.
        """
        if not self.plain.fits_as(text, column):
            known = self.unfit.setdefault(file, set())
            if place and (row is not None or text not in known) and len(self.waiting) < _MOST_WAITING:
                self.waiting.append(Held(text, file, place, *(row or (None, None))))
            known.add(text)

    def path(self, text: str) -> tuple[Found, ...]:
        """What identifies somebody in the name of a file or an id."""
        return self._scanned(text, _AS_PATH)

    def name(self, text: str) -> tuple[Found, ...]:
        """What identifies somebody in the name of a column or key."""
        return self._scanned(text, _AS_NAME)

    def note(self, text: str, found: tuple[Found, ...], where: Identifying) -> bool:
        """Note what was found in ``text``; whether that is anything."""
        for kind in identifiers.kinds_in(found):
            self.places[replace(where, kind=kind)] = None
        if found:
            self.values |= {text.strip(), *(text[f.start : f.end].strip() for f in found)} - {""}
        return bool(found)

    def _scanned(self, text: str, how: str) -> tuple[Found, ...]:
        key = (text, how)
        if key not in self.seen:
            self.left -= len(text)
            if self.left < 0:
                raise TooMuchText
            if how is _AS_PATH:
                self.seen[key] = identifiers.surely_in_path(text, self.known)
            elif how is _AS_NAME:
                self.seen[key] = identifiers.scan_name(text, self.known)
            else:
                self.seen[key] = identifiers.surely(text, how, self.known)
        return self.seen[key]


def search(data: bytes, name: str, shown: str, noted: Noted) -> None:
    """Search one table or descriptor. Raises TooMuchText if it is text and larger than is searched."""
    lowered = name.lower()
    text = text_of(data)
    if text is None:
        noted.weigh(f"bytes that are no text: {hashlib.sha256(data).hexdigest()}", shown, "the whole file")
        return
    if len(data) > MOST_BYTES:
        raise TooMuchText
    if lowered.endswith(".csv"):
        _table(text, name, shown, noted)
    elif lowered.endswith(".json"):
        _json(text, shown, noted, _DEFINING if lowered.rpartition("/")[2] == "datapackage.json" else frozenset())
    else:
        _lines(text, shown, noted)


def _lines(text: str, shown: str, noted: Noted) -> None:
    if len(text) > noted.left:
        raise TooMuchText  # at once, rather than when nearly all was searched
    for number, line in enumerate(text.splitlines(), start=1):
        if number > _MOST_LINES:
            raise TooMuchText
        noted.look(line, "", Identifying("", shown, f"line {number}"))
        noted.weigh(line, shown, f"line {number}")


def text_of(data: bytes) -> str | None:
    """The bytes as text; None if they are none."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if b"\0" in data[:4096]:
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _table(text: str, name: str, shown: str, noted: Noted) -> None:
    try:
        _refuse_too_much(text, noted)
        rows = csv.reader(io.StringIO(text))
        header = [cell.strip() for cell in next(rows, [])]
        places = []
        for number, cell in enumerate(header, start=1):
            where = Identifying("", shown, f"header, column {number}")
            noted.note(cell, noted.name(cell), where)
            if cell not in _COLUMNS:
                noted.weigh(cell, shown, f"header, column {number}")
            places.append(f"column {cell}" if cell in _COLUMNS else f"column {number}")
        cells, position, listed = 0, 0, _listed_elsewhere(name)
        for row in rows:
            cells += len(row)
            if cells > _MOST_CELLS:
                raise TooMuchText
            ids = {header[i]: cell.strip() for i, cell in enumerate(row[: len(header)]) if header[i] in IDS}
            own = _row_of(name, row, header, position)
            position += own is not None
            for i, cell in enumerate(row):
                column = header[i] if i < len(header) else ""
                place = f"line {rows.line_num}, {places[i] if i < len(places) else 'beyond'}"
                # of a row that fits no table nobody knows whose it is, so that nobody is shown it
                at = place if own is not None and column not in listed else ""
                noted.weigh(cell.strip(), shown, at, own, column if column in FREE_TEXT else "")
                where = Identifying("", shown, place)
                if cell and column in IDS and noted.path(cell):
                    noted.note(cell, noted.path(cell), where)
                elif cell:
                    noted.look(cell, column, replace(where, **ids) if column not in ("file", "sidecar") else where)
    except csv.Error:
        _lines(text, shown, noted)


def _refuse_too_much(text: str, noted: Noted) -> None:
    """At once, rather than when nearly all was searched. A cell that stands in a table more than once counts once."""
    if len(text) > noted.left:
        cells = {cell.strip() for row in csv.reader(io.StringIO(text)) for cell in row}
        if sum(map(len, cells - {known for known, _ in noted.seen})) > noted.left:
            raise TooMuchText


def _listed_elsewhere(file: str) -> frozenset[str]:
    """Columns of a table whose cells are listed from the table as it was read."""
    fields = _TABLES[file].fields if file in _TABLES else ()
    return frozenset(f.name for f in fields if f.name in IDS or f.names_file or f.kind is Kind.TEXT)


def _row_of(file: str, row: list[str], header: list[str], position: int) -> tuple[str, int] | None:
    """Table and place of a row among those that are read; None for one that is not."""
    width = len([cell for cell in header if cell])
    if file not in _TABLES or not any(cell.strip() for cell in row):
        return None
    return (_TABLES[file].name, position) if len(row) == width or not any(c.strip() for c in row[width:]) else None


def _json(text: str, shown: str, noted: Noted, plain_keys: frozenset[str]) -> None:
    try:
        content = json.loads(text, object_pairs_hook=_Pairs)
    except (ValueError, RecursionError):
        noted.look(text, "", Identifying("", shown, "its text"))
        noted.weigh(text, shown, "its text")
        return
    for key, value in _leaves(content):
        if (key if value is None else value) not in _descriptor_words():
            noted.weigh(key if value is None else value, shown, "a name in it" if value is None else "a value in it")
        of = "a list" if not key else key if key in _descriptor_words() else "another name"
        where = Identifying("", shown, "its names" if value is None else f"value of {of}")
        if value is None:
            noted.note(key, noted.name(key), where)
        elif noted.name(key):
            noted.look(value, key, replace(where, place="a value"))
        else:
            noted.look(value, "" if key in plain_keys else key, where)


class _Pairs(tuple[tuple[str, Any], ...]):
    """A JSON object with all its keys: of a key that stands twice a dictionary forgets the first value."""


def _leaves(content: Any, key: str = "") -> Iterator[tuple[str, str | None]]:
    """Each key (with None) and each text with its key; without recursion, since depth is the sender's choice."""
    waiting: list[tuple[str, Any]] = [(key, content)]
    while waiting:
        key, value = waiting.pop()
        if isinstance(value, dict | _Pairs):
            for name, inner in value.items() if isinstance(value, dict) else value:
                yield str(name), None
                waiting.append((str(name), inner))
        elif isinstance(value, list):
            waiting += [(key, inner) for inner in value]
        elif isinstance(value, str):
            yield key, value
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield key, str(value)


def tells(data: bytes, name: str, known: KnownNames) -> bool:
    """Whether the content or name of one file of the payload may identify somebody."""
    noted = Noted(known, int(Quota().most_text_mib * MIB))
    try:
        search(data, name, name, noted)
    except TooMuchText:
        return True
    return bool(noted.places or identifiers.surely_in_path(name, known))
