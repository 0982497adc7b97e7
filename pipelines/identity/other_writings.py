"""Words in other letters than Latin that may be a name.

Where letters have capitals a name has one; in other writings every word may be a name that is not of the trade.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from pipelines.identity.common_words import words
from pipelines.identity.word_kinds import is_listed_name

_WORD = re.compile(
    r"[^\W\d_A-Za-zÀ-ɏḀ-ỿªº](?:[^\W\d_]|[\u0300-\u036f\u0590-\u05cf\u064b-\u065f\u0900-\u0dff\u0e00-\u0e7f]){1,}"
)
#: Writings that part no words, or join endings to them: words of the trade are looked for within.
_JOINED = re.compile(r"[\u0e00-\u0e7f\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af]+")
#: Has capitals in Unicode, but begins no names with them.
_GEORGIAN = re.compile(r"[\u10a0-\u10ff]")
_LEAST_LISTED = 4


def in_other_writings(text: str) -> Iterator[tuple[int, int]]:
    """Where words may be a name."""
    for match in _WORD.finditer(text):
        word = match[0]
        if word[1:].isascii():  # "µV", "Δt"
            continue
        if word[0].lower() != word[0].upper() and not _GEORGIAN.match(word):  # letters with capitals
            listed = len(word) >= _LEAST_LISTED and is_listed_name(word)
            likely = listed or (word[0].isupper() and word.lower() not in _trade())
        elif _JOINED.fullmatch(word):
            likely = bool(_of_the_trade().sub("", word))
        else:
            likely = word not in _trade()
        if likely:
            yield match.span()


@cache
def _trade() -> frozenset[str]:
    return words("words_in_other_writings")


@cache
def _of_the_trade() -> re.Pattern[str]:
    longest_first = sorted((w for w in _trade() if _JOINED.fullmatch(w)), key=len, reverse=True)
    return re.compile("|".join(map(re.escape, longest_first)))
