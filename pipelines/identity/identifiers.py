"""The scanner: which parts of a text may tell who was recorded, where or when. Pure: text and its place in, spans out.

It says what kind a part is and where it stands, so that callers can mask it or tell of it without repeating it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache

from pipelines.identity import kinds, names
from pipelines.identity.likely_names import likely_names, likely_names_in_a_path
from pipelines.identity.likely_numbers import likely_numbers
from pipelines.identity.months import dates_in_letters
from pipelines.identity.names import KnownNames
from pipelines.identity.national_ids import national_ids
from pipelines.identity.patterns import HANDLE, PATTERNS, ZIP3
from pipelines.identity.places import Field, expected_kind, field_of, is_age, is_birth_year, is_file_name
from pipelines.identity.writers import writes_of_itself

#: Longer text is scanned in pieces that overlap by more than any pattern is long.
_PIECE, _OVERLAP = 4000, 250
_NUMERIC = re.compile(r"^\s*[-+]?[0-9]*[.,]?[0-9]*(?:[eE][-+]?[0-9]+)?\s*$")
_EMPTY = re.compile(
    r"^[\s*_.?0/:-]*$"
    r"|^(?i:\s*(?:x[ x]*|n/?a|none|unknown|null|nan|removed|anonymous|not given|-+|no|yes|kept back)\s*)$"
)
_PICTURES = (
    ".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".gif", ".heic", ".webp", ".mp4", ".avi", ".mov", ".mkv", ".wmv",
    ".mpg", ".mpeg", ".m4v", ".webm", ".wav", ".mp3", ".m4a", ".ogg", ".aac", ".flac",
)  # fmt: skip
#: In the place of a person's name: longer than the number of a runner in a study, as numbers of records are.
_LONG_NUMBER = re.compile(r"\W*[0-9](?:[ ./-]?[0-9]){4,}\W*")
NOBODY = KnownNames()
_SURE = tuple(pattern for pattern in PATTERNS if pattern is not HANDLE)


@dataclass(frozen=True, order=True)
class Found:
    """One part of a text. It never carries the text itself."""

    start: int
    end: int
    kind: str


def surely(text: str, place: str = "", known: KnownNames = NOBODY) -> tuple[Found, ...]:
    """As ``scan``, without what is only likely: what keeps something out."""
    return _certain(scan(text, place, known))


def surely_in_path(path: str, known: KnownNames = NOBODY) -> tuple[Found, ...]:
    """As ``scan_path``, without what is only likely."""
    return _certain(scan_path(path, known))


def _certain(found: tuple[Found, ...]) -> tuple[Found, ...]:
    return tuple(f for f in found if f.kind not in kinds.ONLY_LIKELY)


def scan(text: str, place: str = "", known: KnownNames = NOBODY) -> tuple[Found, ...]:
    """Identifying parts of ``text``, in order. place: the name of the field it stands in, "" for running text.

    Parts of a kind that is only likely are for whoever looks (``surely`` leaves them out).
    """
    if writes_of_itself(place, text):
        return ()
    found = _scan(text, place, field_of(place), known)
    return _merged([*found, *scan_path(text.replace("\\", "/"), known)]) if is_file_name(place) else found


@lru_cache(maxsize=4096)
def scan_path(path: str, known: KnownNames = NOBODY) -> tuple[Found, ...]:
    """Identifying parts of the name of a file or folder, with forward slashes."""
    found = list(_scan(path.replace("_", " "), "", Field.FILE, known))
    if path.lower().endswith(_PICTURES):
        found.append(Found(0, len(path), kinds.PICTURE))
    at = 0
    for part in path.split("/"):
        found += [Found(at + a, at + b, kinds.NAME) for a, b in names.names_in_a_path(part)]
        found += [Found(at + a, at + b, kinds.MAYBE_NAME) for a, b in likely_names_in_a_path(part)]
        at += len(part) + 1
    return _merged(found)


def scan_name(name: str, known: KnownNames = NOBODY) -> tuple[Found, ...]:
    """Identifying parts of a name of a column, parameter or key: patterns and given names only."""
    return _certain(_scan(name.replace("_", " "), "", Field.MEASURE, known))


def _scan(text: str, place: str, field: Field, known: KnownNames) -> tuple[Found, ...]:
    return _scanned(text, place, field, known, datetime.now(UTC).year)


@lru_cache(maxsize=4096)  # the labels and parameters of one laboratory's files are the same in each of them
def _scanned(text: str, place: str, field: Field, known: KnownNames, year: int) -> tuple[Found, ...]:
    if _EMPTY.match(text):
        return ()
    found = [Found(a, b, kinds.NAME) for a, b in names.known_in(text, known)]
    if field is Field.PACKING:
        return _merged(found)
    found += [Found(a, b, kinds.MAYBE_NAME) for a, b in names.heard_in(text, known)]
    found += _by_place(text, place, field, year)
    if _NUMERIC.match(text) and field is not Field.FILE and len(text.strip()) < 8:
        return _merged(found)
    for begin in range(0, max(1, len(text) - _OVERLAP), _PIECE - _OVERLAP):
        piece = text[begin : begin + _PIECE]
        found += [Found(begin + f.start, begin + f.end, f.kind) for f in _by_form(piece, field)]
    return _merged(found)


def _by_form(text: str, field: Field) -> Iterator[Found]:
    if (
        any(c.isdigit() for c in text)
        or "@" in text
        or "." in text
        or "/" in text
        or "\\" in text
        or ":" in text
        or "(" in text
        or " " in text
    ):
        for pattern in PATTERNS if field is not Field.DESCRIBED else _SURE:
            for match in pattern.regex.finditer(text):
                group = 1 if pattern.regex.groups and pattern.kind is not kinds.DATE and match.lastindex else 0
                start, end = match.span(group)
                if start >= 0 and not (pattern.unless and pattern.unless(text, start, end)):
                    yield Found(start, end, pattern.kind)
        for start, end in dates_in_letters(text):
            yield Found(start, end, kinds.DATE)
        for start, end in national_ids(text):
            yield Found(start, end, kinds.NATIONAL)
        for match in ZIP3.finditer(text):
            yield Found(*match.span(1), kinds.PLACE)
    if field in (Field.TOLD, Field.PERSON, Field.DESCRIBED):
        for start, end in names.told_names(text, guess=field is not Field.DESCRIBED):
            yield Found(start, end, kinds.NAME)
    if field in (Field.TOLD, Field.PERSON):
        for start, end in likely_names(text):
            yield Found(start, end, kinds.MAYBE_NAME)
    if field in (Field.TOLD, Field.PERSON, Field.FILE):
        for start, end, kind in likely_numbers(text):
            yield Found(start, end, kind)


def _by_place(text: str, place: str, field: Field, year: int) -> Iterator[Found]:
    """What the field's name says of its content, whatever its form."""
    whole = Found(0, len(text), kinds.NAME)
    if field is Field.PERSON and not names.looks_like_a_code(text):
        yield whole
    if field is Field.PERSON and _LONG_NUMBER.fullmatch(text):
        yield Found(0, len(text), kinds.OTHER_NUMBER)
    if is_age(place) or is_birth_year(place):
        number = re.fullmatch(r"\s*([0-9]{1,4})(?:\.[0-9]*)?\s*(?:y|yrs?|years?|a)?\s*", text)
        oldest = year - 90
        if number and (int(number[1]) < oldest if is_birth_year(place) else 89 < int(number[1]) < 130):
            yield Found(0, len(text), kinds.OLD_AGE)
        return
    kind = expected_kind(place)
    if kind and field is not Field.MEASURE and _fits(kind, text):
        yield Found(0, len(text), kind)


def _fits(kind: str, text: str) -> bool:
    """Whether a text could be of the kind its field is for; "see protocol" in a field for dates is not."""
    digits = sum(c.isdigit() for c in text)
    if kind == kinds.DATE:
        return digits >= 4 and not re.fullmatch(r"\s*(?:19|20)[0-9]{2}\s*", text)
    if kind == kinds.TIME:
        return bool(re.search(r"[0-9]{1,2}[:.h][0-9]{2}", text)) and text.strip("0:. ") != ""
    if kind in (kinds.MAIL, kinds.WEB):
        return "@" in text or "." in text
    if kind in (kinds.PLACE, kinds.NETWORK):
        return len(text.strip()) > 2 and any(c.isalnum() for c in text)
    return digits >= 3


def _merged(found: list[Found]) -> tuple[Found, ...]:
    """In order, each kind once where parts of it overlap."""
    kept: list[Found] = []
    last: dict[str, int] = {}  # where in ``kept`` the last part of a kind is: the ones before it end before it begins
    for one in sorted(found):
        at = last.get(one.kind)
        if at is None or one.start >= kept[at].end:
            last[one.kind] = len(kept)
            kept.append(one)
        elif one.end > kept[at].end:
            kept[at] = Found(kept[at].start, one.end, one.kind)
    return tuple(sorted(kept))


def kinds_in(found: tuple[Found, ...]) -> tuple[str, ...]:
    """The kinds, each once, in order."""
    return tuple(dict.fromkeys(f.kind for f in found))


def masked(text: str, found: tuple[Found, ...], mark: str = "(kept back)") -> str:
    """``text`` with every part replaced by ``mark``."""
    for start, end in reversed(_spans(found)):
        text = text[:start] + mark + text[end:]
    return text


def _spans(found: tuple[Found, ...]) -> list[tuple[int, int]]:
    """Spans without overlap, in order."""
    spans: list[tuple[int, int]] = []
    for start, end in sorted((f.start, f.end) for f in found):
        if spans and start <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(end, spans[-1][1]))
        else:
            spans.append((start, end))
    return spans
