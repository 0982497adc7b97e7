"""Days and months told with the month in letters, in many languages, and dates as they are written in East Asia.

Dates of numbers alone are patterns (``patterns``). A month's short form is a word of some language too often to count
alone: it needs a day and a year beside it, a name in full needs one of both.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipelines.identity.common_words import plain, words

_WORD = re.compile(r"[^\W\d_](?:[^\W\d_]|[\u0300-\u036f\u0900-\u0dff\u0e00-\u0e7f])*")
_DAY = r"(?:0?[1-9]|[12][0-9]|3[01])"
_LINK = r"(?:\s*(?:st|nd|rd|th|er|º|ª|\.)?[\s./_-]*(?:(?:of|de|del|d['’]|di|dne|den|der)\s+)?)"
_DAY_BEFORE = re.compile(rf"(?<![0-9.,]){_DAY}{_LINK}$", re.IGNORECASE)
_DAY_AFTER = re.compile(
    rf"^\.?[\s_-]{{0,2}}{_DAY}(?:st|nd|rd|th)?(?![0-9])(?!\s?(?:%|m\b|s\b|mm\b|N\b|Hz\b|kg\b|km\b))"
)
_YEAR_AFTER = re.compile(r"^\.?[\s,./_-]{0,3}(?:(?:de|del|di)\s+)?(?:19|20)[0-9]{2}(?![0-9])")
_DAY_AND_YEAR_AFTER = re.compile(
    rf"^\.?[\s._-]{{0,2}}{_DAY}(?:st|nd|rd|th)?[\s,./_-]{{1,3}}(?:19|20)?[0-9]{{2}}(?![0-9])"
)
_SHORT_YEAR_AFTER = re.compile(r"^\.?[\s,./_-]{0,3}'?[0-9]{2}(?![0-9A-Za-z])")
_EAST = re.compile(
    r"(?:(?:19|20)?[0-9]{2}\s?[年년]\s?)?[0-9]{1,2}\s?[月월]\s?[0-9]{1,2}\s?[日일号]|(?:19|20)[0-9]{2}\s?[年년]\s?[0-9]{1,2}\s?[月월]"
)
_SHORT = 4
#: Names in full that are as short (from memory).
_IN_FULL = frozenset({"aout", "juin", "juli", "juni", "july", "june", "luty", "maio", "mayo"})
#: Words of English that stand beside numbers in other senses, and short forms that are words of the trade.
_OTHER = frozenset(
    {"may", "march", "mars", "set", "out", "mar", "ago", "pro", "sub", "led", "bal", "bre", "tem", "dub"}
)


def dates_in_letters(text: str) -> Iterator[tuple[int, int]]:
    """Where a day of a month, or a month of a year, stands."""
    if not any(c.isdigit() for c in text):
        return
    yield from (match.span() for match in _EAST.finditer(text))
    months = words("months")
    for match in _WORD.finditer(text):
        word = plain(match[0])
        if word not in months:
            continue
        before, after = text[: match.start()], text[match.end() :]
        day = _DAY_BEFORE.search(before)
        year = _YEAR_AFTER.match(after) or (_SHORT_YEAR_AFTER.match(after) if day else None)
        later = _DAY_AND_YEAR_AFTER.match(after)
        if (len(word) <= _SHORT and word not in _IN_FULL) or word in _OTHER:
            if (day and year) or later:
                end = year or later
                yield (day.start() if day else match.start()), match.end() + (end.end() if end else 0)
        elif day or year or later or _DAY_AFTER.match(after):
            end = year or later or _DAY_AFTER.match(after)
            yield (day.start() if day else match.start()), match.end() + (end.end() if end else 0)
