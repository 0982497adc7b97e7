"""Whether a word is an everyday one of some language: ``words/everyday.bits``, a Bloom filter of two million words.

``benchmarks/everyday_words.py`` makes it and tells from which open lists. It holds no words, only whether one is in it:
of words that are not, it takes some 1 in 200 for one that is. Names of people were left out when it was made.
"""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Iterable, Iterator
from functools import cache, lru_cache
from importlib import resources

from pipelines.identity.common_words import plain, words

FILE = "everyday.bits"
#: Bits a word sets; bits of the whole.
_MARKS, BITS = 7, 24_000_000
#: Letters of each half of a compound, as of "voimalevy".
_LEAST_HALF = 4
#: Before the nouns of German, which are in it a second time.
NOUN = "noun "
_LAST_LATIN = "\u0250"


def form(word: str) -> str:
    """How a word is compared: Latin ones without accents, others only in small letters."""
    latin = all(c < _LAST_LATIN or "\u1e00" <= c < "\u1f00" for c in word)
    return plain(word) if latin else unicodedata.normalize("NFC", word).lower()


def is_everyday(word: str) -> bool:
    """Whether a word is an everyday one of some language, or two of them run together."""
    own = form(word)
    return _is_in(own) or (own.isascii() and _is_compound(own))


def is_everyday_alone(word: str) -> bool:
    """As ``is_everyday``, without compounds."""
    return _is_in(form(word))


def is_german_noun(word: str) -> bool:
    """Whether a word is an everyday one that German writes with a capital."""
    return _is_in(NOUN + form(word))


def is_german(word: str) -> bool:
    """Whether a small word is one of German that shows the language: none that other languages have."""
    return word in words("german_signs")


def _is_compound(word: str) -> bool:
    return any(_is_in(word[:at]) and _is_in(word[at:]) for at in range(_LEAST_HALF, len(word) - _LEAST_HALF + 1))


@lru_cache(maxsize=65536)
def _is_in(word: str) -> bool:
    bits = _bits()
    return all(bits[at >> 3] >> (at & 7) & 1 for at in _marks(word))


@cache
def _bits() -> bytes:
    return resources.files("pipelines.identity").joinpath("words", FILE).read_bytes()


def _marks(word: str) -> Iterator[int]:
    digest = hashlib.blake2b(word.encode(), digest_size=4 * _MARKS).digest()
    return (int.from_bytes(digest[4 * i : 4 * i + 4], "big") % BITS for i in range(_MARKS))


def bits_of(words: Iterable[str]) -> bytes:
    """The filter of words that were brought into ``form``."""
    bits = bytearray(BITS // 8)
    for word in words:
        for at in _marks(word):
            bits[at >> 3] |= 1 << (at & 7)
    return bytes(bits)
