"""Which codes of runners, sessions and trials are codes, and which may tell a name, initials or a day of birth.

A study declares how it writes them (``schemas.study_codes``). Of one that does not, a closed form is expected: for
runners a prefix and a short number, for sessions and trials the runner's code and what is made of known words, short
numbers and single letters beside these. What other texts may say is in ``vocabulary``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping

from pipelines.identity.common_words import plain, words
from pipelines.identity.vocabulary import BIRTH_YEAR, PARTS, Vocabulary, without
from schemas import fields
from schemas.study_codes import LONGEST_CODE

_RUNNER = fields.PARTICIPANT_ID.name
#: What joins the parts of a code; how many letters may stand before a number, and how long that is.
_JOINT = re.compile(r"[ ._/-]?")
_MOST_LETTERS, _MOST_DIGITS = 3, 5
#: Three numbers side by side, as days are written.
_DAY = re.compile(r"(?<![0-9])([0-9]{1,4})[ ._/-]([0-9]{1,2})[ ._/-]([0-9]{1,4})(?![0-9])")


def codes_among(named: Mapping[str, Collection[str]], known: Vocabulary) -> set[str]:
    """Those of a delivery's codes, column -> codes, that are of the form the study declares, or of the closed one.

    Several prefixes of two or three letters are told from initials by being used: each for two codes or more.
    """
    fitting: set[str] = set()
    runners: frozenset[str] = frozenset()
    for column in sorted(named, key=lambda one: one != _RUNNER):
        form = known.forms.form_of(column)
        if form:
            own = {code for code in named[column] if _is_of(form, code)}
        else:
            free = not known.forms.runner
            prefixes = {code: _prefix(code, known, runners, free=free, column=column) for code in named[column]}
            used = Counter(prefix for prefix in prefixes.values() if prefix)
            own = {code for code, one in prefixes.items() if one == "" or (one and (len(used) == 1 or used[one] > 1))}
        fitting |= own
        if column == _RUNNER:
            runners = frozenset(own)
    return fitting


def _is_of(form: str, code: str) -> bool:
    return len(code) <= LONGEST_CODE and re.fullmatch(form, code.strip()) is not None


def _prefix(code: str, known: Vocabulary, runners: frozenset[str], *, free: bool, column: str) -> str | None:
    """The letters before the first number of a code of the closed form, "" if it has none; None if it is of another.

    runners: codes that may be part of it. free: whether letters that are no word may be its prefix.
    """
    rest = code.strip()
    if len(rest) > LONGEST_CODE:
        return None
    if column != _RUNNER:
        rest = re.sub(r"[._-]{2,}", "_", without(rest, runners))
        free = free and rest == code.strip()  # else the runner's code is the prefix
    allowed = known.in_codes | (words("of_codes") if column == _RUNNER else known.words - words("surnames_too"))
    if any(map(_is_a_day, _DAY.findall(rest))) or (column == _RUNNER and not any(c.isdigit() for c in rest)):
        return None
    at, found, parts = 0, "", list(PARTS.finditer(rest))
    for i, part in enumerate(parts):
        beside = parts[max(0, i - 1) : i + 2]
        if not _JOINT.fullmatch(rest, at, part.start()):
            return None
        at = part.end()
        if part[0].isdigit():
            fits = len(part[0]) <= _MOST_DIGITS and BIRTH_YEAR.fullmatch(part[0]) is None
        elif len(part[0]) == 1:
            with_the_code = rest != code.strip() and not any(len(one[0]) > 1 and one[0].isalpha() for one in beside)
            fits = with_the_code or any(one[0].isdigit() for one in beside)
        elif plain(part[0]) in allowed:
            fits = True
        else:
            first = not any(c.isdigit() for c in rest[: part.start()]) and not found
            named = part[0][0].isupper() and part[0][1:].islower()
            fits = free and first and not named and len(part[0]) <= _MOST_LETTERS and beside[-1][0].isdigit()
            found = part[0].upper()
        if not fits:
            return None
    return found if _JOINT.fullmatch(rest, at) else None


def _is_a_day(numbers: tuple[str, str, str]) -> bool:
    """Whether three numbers may be a day, a month and a year, the year first or last and of two digits or four."""
    first, month, last = (int(one) for one in numbers)
    of_a_year = {2, 4}
    year_last = len(numbers[2]) in of_a_year and (
        (1 <= first <= 31 and 1 <= month <= 12) or (1 <= first <= 12 and 1 <= month <= 31)
    )
    return year_last or (len(numbers[0]) in of_a_year and 1 <= month <= 12 and 1 <= last <= 31)
