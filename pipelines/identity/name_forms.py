"""The forms a name of a list may take in a text: before endings of cases, in other letters, as others hear it.

The rules are habits of languages, passports and mail, from memory, and wide on purpose: a laboratory's list is short,
and words that are ordinary ones are not compared (``names``).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from pipelines.identity.common_words import plain

#: Letters that a name at least has before an ending; that it has if it is written small; of an ending.
_LEAST_STEM, _LEAST_SMALL, _MOST_ENDING = 4, 5, 3
_VOWELS = "aeiouyаяоеиыαηοι"
#: Endings of the first case, which others take the place of; and what becomes of a name before these.
_FIRST_CASE = ("as", "is", "us", "ys", "ir", "ur", "ος", "ης", "ας", "ις", "ий", "ый", "ой")
_CHANGED = (("nen", "se"), ("ek", "k"), ("ec", "c"), ("ets", "ts"), ("el", "l"), ("ок", "к"), ("ек", "к"), ("ец", "ц"))
#: Ways of writing one sound, in this order.
_SOUNDS = tuple(
    (re.compile(pattern), sound)
    for pattern, sound in (
        ("tsch|shch|sch|sh|sz|tch|ch|cz", "s"), ("dz|zh|z|ts|tz|c(?=[eiyz])", "s"), ("ph|pf|ff|v|w", "f"),
        ("th|dt|t|d", "t"), ("kh|gh|h|x|ks|q|ck|c|g", "k"), ("ou|oo|ue", "u"), ("iy|ij|yi|iu|yu|ju", "i"),
        ("ie|ye|je|ee|ei|ey|ai|ay", "e"), ("ia|ya|ja|ae", "a"), ("io|yo|jo|oe", "o"), ("[yj]", "i"),
    )
)  # fmt: skip
_DOUBLE = re.compile(r"(.)\1+")
_LEAST_SOUND = 5
#: How letters are written where there are none of them: habits of passports and mail (from memory).
_WAYS = (
    str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe", "æ": "ae"}),
    str.maketrans({"й": "y", "ц": "ts", "у": "u", "к": "k", "е": "e", "н": "n", "г": "g", "ш": "sh", "щ": "shch",
                   "з": "z", "х": "kh", "ъ": "", "ф": "f", "ы": "y", "в": "v", "а": "a", "п": "p", "р": "r", "о": "o",
                   "л": "l", "д": "d", "ж": "zh", "э": "e", "я": "ya", "ч": "ch", "с": "s", "м": "m", "и": "i",
                   "т": "t", "ь": "", "б": "b", "ю": "yu", "ё": "yo", "і": "i", "ї": "yi", "є": "ye", "ґ": "g"}),
    str.maketrans({"α": "a", "β": "v", "γ": "g", "δ": "d", "ε": "e", "ζ": "z", "η": "i", "θ": "th", "ι": "i", "κ": "k",
                   "λ": "l", "μ": "m", "ν": "n", "ξ": "x", "ο": "o", "π": "p", "ρ": "r", "σ": "s", "ς": "s", "τ": "t",
                   "υ": "y", "φ": "f", "χ": "ch", "ψ": "ps", "ω": "o"}),
)  # fmt: skip


def roots_of(parts: Iterable[str]) -> frozenset[str]:
    """What of names, plain, stays before endings: themselves, without a last vowel or the ending of the first case."""
    roots = set[str]()
    for part in parts:
        roots.add(part)
        if part[-1] in _VOWELS and len(part) > _LEAST_STEM:
            roots.add(part[:-1])
        roots |= {part[: -len(end)] for end in _FIRST_CASE if part.endswith(end)}
        roots |= {part[: -len(end)] + new for end, new in _CHANGED if part.endswith(end)}
    return frozenset(root for root in roots if len(root) >= _LEAST_STEM or root in parts)


def sounds_of(parts: Iterable[str]) -> frozenset[str]:
    """How names sound, those that are long enough to be told from other words by it."""
    every = {sound(way) for part in parts for way in (part, part.replace("ts", "c"))}
    return frozenset(one for one in every if len(one) >= _LEAST_SOUND)


def sound(word: str) -> str:
    """A word, plain, with one sign for sounds that are written in several ways; "" if its letters are not Latin."""
    if not word.isascii():
        return ""
    for pattern, sign in _SOUNDS:
        word = pattern.sub(sign, word)
    return _DOUBLE.sub(r"\1", word)


def is_a_case(word: str, roots: frozenset[str], *, capital: bool) -> bool:
    """Whether a word, plain, is a name before an ending. capital: it begins with one, and is compared less strictly."""
    if capital and word.endswith("s") and word[:-1] in roots:
        return True
    least = _LEAST_STEM if capital else _LEAST_SMALL
    return any(word[:end] in roots for end in range(max(least, len(word) - _MOST_ENDING), len(word)))


def sounds_alike(word: str, sounds: frozenset[str]) -> bool:
    """Whether a word, plain, sounds like a name, perhaps with an "s" of the owner."""
    return sound(word) in sounds or (word.endswith("s") and sound(word[:-1]) in sounds)


def written_otherwise(word: str) -> set[str]:
    """A word as it may stand where its letters are not at hand, plain."""
    small = unicodedata.normalize("NFC", word.lower())
    ways = {plain(small.translate(way)) for way in _WAYS} | {
        plain(unicodedata.normalize("NFD", small).translate(_WAYS[2]))
    }
    return {way for way in ways if way.isascii() and len(way) >= 3}
