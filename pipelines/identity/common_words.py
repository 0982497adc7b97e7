"""Lists of words by which names are told from other words: names, words of the trade, ordinary words.

The lists are the files in ``words/``, each with its source and licence at its top, read when they are first needed.
A laboratory's own list (``word_list``) is what finds its own people.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from importlib import resources

#: Letters that are no other letter with a sign on it.
_WHOLE_LETTERS = str.maketrans(
    {"ø": "o", "Ø": "O", "ß": "ss", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ı": "i", "ð": "d", "þ": "th", "æ": "ae",
     "Æ": "Ae", "œ": "oe", "Œ": "Oe"}
)  # fmt: skip


def plain(word: str) -> str:
    """In small letters without accents, as it is compared."""
    stripped = unicodedata.normalize("NFKD", word.translate(_WHOLE_LETTERS))
    return "".join(c for c in stripped if not unicodedata.combining(c)).lower()


@cache
def words(name: str) -> frozenset[str]:
    """The words of the list ``name``, in small letters without accents. Raises FileNotFoundError if there is none."""
    text = resources.files("pipelines.identity").joinpath("words", f"{name}.txt").read_text(encoding="utf-8")
    return frozenset(line for line in text.splitlines() if line and not line.startswith("#"))
