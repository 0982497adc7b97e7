"""A text inside a recording file, with the bytes it takes, and whether it tells of a person.

Where the texts stand in a file is in ``c3d_texts`` and ``edf_texts``; what a text gives away in ``identifiers``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from pipelines.identity import identifiers
from pipelines.identity.identifiers import NOBODY, Found
from pipelines.identity.names import KnownNames
from schemas.reading import Identifying
from schemas.said import quoted


@dataclass(frozen=True)
class Text:
    """A text and the bytes [start, end) it takes in its file. place: for a message; field: what names its kind.

    expected: kinds it is of whatever its form. wide: it is a number stored as bytes, not as letters. named: it is
    itself what a part of the file is called. label: of the channel or marker that it is, or that it is about.
    names: of parts of the file in its place that nobody knows.
    """

    place: str
    field: str
    text: str
    start: int
    end: int
    expected: str | None = None
    wide: bool = False
    named: bool = False
    label: str = ""
    names: tuple[str, ...] = ()

    def found(self, known: KnownNames = NOBODY) -> tuple[Found, ...]:
        """What in it identifies somebody."""
        if self.expected:
            return (Found(0, len(self.text), self.expected),)
        if self.named:
            return identifiers.surely_in_path(self.text, known)
        return identifiers.surely(self.text, self.field, known)


def identifying(
    file: str, texts: Iterator[Text], known: KnownNames = NOBODY, shows: Callable[[str], bool] = lambda label: True
) -> tuple[Identifying, ...]:
    """Where in a file something identifies somebody, and of what kind; one for each place and kind.

    shows: whether a label or the name of a group may be repeated; others are told by their length. As they are only for
    their own laboratory.
    """
    seen: dict[Identifying, None] = {}
    for text in texts:
        for found in text.found(known):
            seen[Identifying(found.kind, file, _told(text, shows))] = None
    return tuple(seen)


def _told(text: Text, shows: Callable[[str], bool]) -> str:
    """Where a text stands, and beside which label."""
    place = text.place
    for name in text.names:
        if not shows(name):  # in capitals, as no word of ours in a place is
            place = re.sub(rf"(?<![^\s:]){re.escape(name)}(?![^\s:,])", f"(a name of {len(name)} characters)", place)
    if not text.label:
        return place
    own = text.text == text.label
    if shows(text.label):
        return f"{place} ({'the' if own else 'beside the'} label {quoted(text.label)})"
    return f"{place} ({'a' if own else 'beside a'} label of {len(text.label)} characters)"


def decoded(raw: bytes) -> str:
    """The letters of a field, whatever they were written in; nulls count as spaces."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    return text.replace("\0", " ").strip()
