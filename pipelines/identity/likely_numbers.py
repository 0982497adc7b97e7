# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""Numbers and days that may tell of somebody although no form or word beside them says so for certain.

What is found here keeps nothing out, as with names that are only likely. What is beyond doubt is in ``patterns``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from pipelines.identity import kinds
from pipelines.identity.common_words import plain, words
from pipelines.identity.word_kinds import is_english

_DAY = r"(?:0?[1-9]|[12][0-9]|3[01])"
_UNIT = r"(?!\s?(?:%|°|m|mm|cm|s|ms|min|N|Nm|kg|Hz|kHz|V|mV|km|h|W|frames?|samples?|trials?|steps?|reps?)\b)"
#: Three numbers of two digits that are a day, between signs or side by side, and nothing of the kind beside them.
_THREE = re.compile(
    rf"(?<![0-9A-Za-z.,:-])(?<![0-9]/)([0-9]{{1,2}})([ ._/-]?)([0-9]{{1,2}})\2('?[0-9]{{2}})(?![0-9A-Za-z]|[.,:/-][0-9]){_UNIT}"
)
#: A day of three numbers with signs and blanks between, and one with words of any language between day and year.
_YEAR = r"(?:19[0-9]{2}|20[0-4][0-9])"
_SIGN = r"[\s\u200e\u200f]{0,2}[./-][\s\u200e\u200f]{0,2}"
_SPACED = re.compile(
    rf"(?<![0-9A-Za-z.,:-])(?:{_DAY}{_SIGN}{_DAY}{_SIGN}{_YEAR}|{_YEAR}{_SIGN}{_DAY}{_SIGN}{_DAY}|{_DAY}\. {_DAY}\. [0-9]{{2}})(?![0-9A-Za-z])"
)
_LETTERS = r"[^\W\d_]{1,24}[\w’'()-]{0,6}[.,]{0,2}"
_ANY_MONTH = re.compile(
    rf"(?<![0-9A-Za-z.,:-])(?:{_DAY}[^\W\d_]{{0,2}}[.ºª]?,? (?:{_LETTERS} ){{1,4}}{_YEAR}|{_YEAR}[^\W\d]{{0,3}}[.,]?(?:\([^\W\d_]{{1,3}}\)[^\W\d_]{{0,3}})?,? (?:{_LETTERS} ){{1,3}}{_DAY}(?:\([^\W\d_]\))?|{_LETTERS} {_DAY}, {_YEAR})(?![0-9A-Za-z]|[.,][0-9]){_UNIT}"
)
_MONTH_AND_YEAR = re.compile(
    rf"(?<![^\W_])([^\W\d_]{{4,}})[.,]? (?:{_LETTERS} )?{_YEAR}(?![0-9A-Za-z]|[.,][0-9]){_UNIT}"
)
#: Words between two numbers that are no month.
_JOINING = frozenset(
    ["to", "and", "of", "from", "with", "at", "by", "or", "in", "on", "until", "till", "bis", "und", "von", "a", "y", "e", "et", "de", "do", "up", "down", "per", "plus", "is", "was"]
)  # fmt: skip
_VERSION_BEFORE = re.compile(
    r"(?:version|release|firmware|software|build|rev(?:ision)?|driver|section|chapter|ver|v|[a-z]+[0-9]+[a-z]*)[ .:]{0,2}$",
    re.IGNORECASE,
)
#: A day beside a month's short form, and what of these is a word of the trade or of English, too.
_SHORT = re.compile(
    rf"(?<![^\W_])(?:{_DAY}[ ._-]{{0,2}}([^\W\d_]{{3,4}})|([^\W\d_]{{3,4}})[ ._]{{1,2}}{_DAY}){_UNIT}(?![^\W_])"
)
_WORD = re.compile(r"[^\W\d_]+")
_BETWEEN = frozenset(["the", "of", "de", "du", "di", "d", "le", "el", "il", "am", "der", "den", "van"])
_LEAST_OF_A_MONTH = 4
#: Five digits and more, with or without signs and letters beside them; a range, a rate or a number with decimals is none.
_LONG = re.compile(
    rf"(?<![\w.,+±-])(?:[A-Z]{{1,3}}[-/ ]?)?[0-9](?:[/-]?[0-9]){{0,24}}(?:[/-][A-Z0-9]{{1,12}}){{0,3}}[A-Z]?(?![\w]|[.,][0-9]){_UNIT}"
)
_LEAST_DIGITS, _LEAST_WITH_SIGNS = 7, 5
#: Behind a word for number, with a word between them or not; and three groups of numbers and more.
_NUMBERED = re.compile(
    r"(?<![^\W_])(?:n[ro]|num|numer[oa]?|n[úu]mero|num[ée]ro|number|nummer|id|код|номер)(?:[.:°º#]\s?|\s)\s?(?:no\.?|nr\.?|[^\W\d_]{2,14})?\s?[:#=]?\s?([A-Z]{0,3}-?[0-9](?:[ ./-]?[0-9A-Z]){3,18})(?!\w)",
    re.IGNORECASE,
)
_GROUPS = re.compile(r"(?<![\w.,+-])[0-9]{2,6}(?:[ .-][0-9]{2,6}){2,5}(?![\w]|[.,][0-9])")
_COUNTED = re.compile(
    r"(?:frames?|trials?|samples?|channels?|plates?|markers?|steps?|rows?|lines?|model)\W*(?:n[ro]|number)?\W*$",
    re.IGNORECASE,
)
_LEAST_IN_GROUPS, _LEAST_NUMBERED = 9, 3
_RANGE = re.compile(r"([0-9]+)[-/]([0-9]+)")


def likely_numbers(text: str) -> Iterator[tuple[int, int, str]]:
    """Where a number or a day may tell of somebody, and which of both."""
    if not any(c.isdigit() for c in text) and not any(plain(w) in words("months") for w in _WORD.findall(text)):
        return
    for match in _THREE.finditer(text):
        if _is_day(match) and not _VERSION_BEFORE.search(text, 0, match.start()):
            yield *match.span(), kinds.MAYBE_DATE
    for match in _SHORT.finditer(text):
        if plain(match[1] or match[2]) in words("short_months"):
            yield *match.span(), kinds.MAYBE_DATE
    for match in _SPACED.finditer(text):
        if not _VERSION_BEFORE.search(text, 0, match.start()):
            yield *match.span(), kinds.MAYBE_DATE
    for match in _ANY_MONTH.finditer(text):
        if any(plain(word) not in _JOINING and not is_english(word) for word in _WORD.findall(match[0])):
            yield *match.span(), kinds.MAYBE_DATE
    for match in _MONTH_AND_YEAR.finditer(text):
        if plain(match[1]) in words("months"):
            yield *match.span(), kinds.MAYBE_DATE
    for match in _LONG.finditer(text):
        if _is_long(match[0]):
            yield *match.span(), kinds.MAYBE_NUMBER
    for match in _NUMBERED.finditer(text):
        digits = sum(c.isdigit() for c in match[1])
        if digits >= _LEAST_NUMBERED and not _COUNTED.search(text, 0, match.start(1)):
            yield *match.span(1), kinds.MAYBE_NUMBER
    for match in _GROUPS.finditer(text):
        if sum(c.isdigit() for c in match[0]) >= _LEAST_IN_GROUPS and not _VERSION_BEFORE.search(
            text, 0, match.start()
        ):
            yield *match.span(), kinds.MAYBE_NUMBER
    yield from _in_words(text)


def _is_day(match: re.Match[str]) -> bool:
    """Whether three numbers are a day: without signs six digits, with blanks two digits each, else the day first."""
    a, sign, b, c = match[1], match[2], match[3], match[4]
    first, second, last = int(a), int(b), int(c.strip("'"))
    if sign in ("", " ") and not (len(a) == len(b) == 2 and (sign or match[0].isdigit())):
        return False
    if sign == "/" and first > 31:
        return False
    day_first = (1 <= first <= 31 and 1 <= second <= 12) or (1 <= first <= 12 and 1 <= second <= 31)
    year_first = sign != "." and 1 <= second <= 12 and 1 <= last <= 31
    return day_first or year_first


def _is_long(number: str) -> bool:
    digits = sum(c.isdigit() for c in number)
    if "/" in number and all(part.endswith("00") for part in number.split("/")):
        return False
    span = _RANGE.fullmatch(number)
    if span is not None and int(span[1]) < int(span[2]) and len(span[2]) - len(span[1]) <= 1 and span[1][0] != "0":
        return False
    return digits >= (_LEAST_DIGITS if number.isdigit() else _LEAST_WITH_SIGNS)


def _in_words(text: str) -> Iterator[tuple[int, int, str]]:
    """Days told in words beside a month's name: "the ninth of June", "neunter Juni", "le neuf juin"."""
    tokens = list(_WORD.finditer(text))
    for i, token in enumerate(tokens):
        month = plain(token[0])
        if len(month) < _LEAST_OF_A_MONTH or month not in words("months"):
            continue
        near = [t for t in tokens[max(0, i - 3) : i + 4] if t is not token]
        for other in near:
            low, high = sorted((other, token), key=lambda t: t.start())
            between = _WORD.findall(text[low.end() : high.start()])
            if plain(other[0]).rstrip("rsn") in _stems() and all(plain(w) in _BETWEEN for w in between):
                yield low.start(), high.end(), kinds.MAYBE_DATE


@cache
def _stems() -> frozenset[str]:
    """The days in words without their endings."""
    return frozenset(word.rstrip("rsn") for word in words("ordinals"))
