"""Words in other letters than Latin that may be a name.

Where letters have capitals a name has one; in other writings every word may be a name that is neither of the trade nor
an everyday one. Writings that part no words are cut where the fewest and best known pieces come out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache, lru_cache

from pipelines.identity.common_words import words
from pipelines.identity.everyday import is_everyday_alone
from pipelines.identity.word_kinds import is_listed_name

_WORD = re.compile(
    r"[^\W\d_A-Za-zÀ-ɏḀ-ỿªº](?:[^\W\d_]|[\u0300-\u036f\u0590-\u05cf\u064b-\u065f\u0900-\u0dff\u0e00-\u0e7f]){1,}"
)
#: Writings that part no words, or join endings to them: words of the trade are looked for within.
_JOINED = re.compile(r"[\u0e00-\u0e7f\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af]+")
#: Has capitals in Unicode, but begins no names with them.
_GEORGIAN = re.compile(r"[\u10a0-\u10ff]")
_LEAST_LISTED = 4
#: Letters of the longest piece that is looked up; what a letter that nobody knows costs beside 2 of a word.
_LONGEST, _STRANGE = 14, 8


def in_other_writings(text: str) -> Iterator[tuple[int, int]]:
    """Where words may be a name."""
    for match in _WORD.finditer(text):
        word = match[0]
        if word[1:].isascii():  # "µV", "Δt"
            continue
        if word[0].lower() != word[0].upper() and not _GEORGIAN.match(word):  # letters with capitals
            listed = len(word) >= _LEAST_LISTED and is_listed_name(word)
            known = word.lower() in _trade() or is_everyday_alone(word)
            likely = listed or (word[0].isupper() and not known)
        elif _JOINED.fullmatch(word):
            likely = holds_a_stranger(word)
        else:
            likely = word not in _trade() and not is_everyday_alone(word)
        if likely:
            yield match.span()


def is_joined(text: str) -> bool:
    """Whether a text is of a writing that parts no words, or joins endings to them."""
    return _JOINED.fullmatch(text) is not None


@cache
def _trade() -> frozenset[str]:
    return words("words_in_other_writings")


@lru_cache(maxsize=4096)
def holds_a_stranger(run: str) -> bool:
    """Whether a run of letters cannot be cut into words without a name or a piece that nobody knows."""
    least = 3 if "\uac00" <= run[0] <= "\ud7af" else 2  # signs of a surname and a given name
    best: list[tuple[int, bool]] = [
        (0, False)
    ]  # per place: what the best cut up to it costs, whether it has a stranger
    for end in range(1, len(run) + 1):
        ways = []
        for begin in range(max(0, end - _LONGEST), end):
            cost, strange = _cost(run[begin:end], opens=begin == 0 and len(run) >= least)
            before = best[begin]
            ways.append((before[0] + cost, before[1] or strange))
        best.append(min(ways))
    return best[-1][1]


def _cost(piece: str, *, opens: bool) -> tuple[int, bool]:
    """What a piece costs in a cut, and whether it is a stranger; a name costs as little as a word.

    opens: it stands first, where one sign of Chinese or Korean may be a surname.
    """
    if piece in _trade():
        return 2, False
    if len(piece) > 1 and piece in words("names_in_joined_writings"):
        return 2, True
    if is_everyday_alone(piece) and not (opens and piece in words("surnames_of_one_sign")):
        return (2 if len(piece) > 1 else 3), False
    return _STRANGE * len(piece), True
