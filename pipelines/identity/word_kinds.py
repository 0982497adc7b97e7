"""What a word may be by the lists in ``words/``: an ordinary word, one of the trade, or somebody's name.

Where in a text such words make a name likely is in ``likely_names``; names that a laboratory lists are in ``names``.
"""

from __future__ import annotations

from functools import cache

from pipelines.identity.common_words import plain, words
from schemas.catalogue import TABLES
from schemas.units import is_ucum

_ENDINGS = ("ed", "ing", "ly", "tion", "tions", "ness", "ment", "able")
_LISTS = ("plain_words", "other_words", "label_words", "words_abroad")
#: Letters of a listed name before an "s" that makes it the owner ("Ehrenfelds Schuh").
_LEAST_OWNER = 4
_MOST_JOINED = 2


def is_first_name(word: str) -> bool:
    """Whether it is a common first name and hardly anything else."""
    return plain(word) in words("first_names") and plain(word) not in words("also_words")


def is_listed_name(word: str) -> bool:
    """Whether it stands in a long list of names and in none of ordinary words, perhaps with an "s" of the owner."""
    lowered = plain(word)
    if is_first_name(word) or lowered in _names():
        return True
    owner = lowered.endswith("s") and len(lowered) > _LEAST_OWNER and lowered not in words("english")
    return owner and not is_of_the_trade(word) and lowered[:-1] in _names()


def is_of_the_trade(word: str) -> bool:
    """Whether it is a word of short remarks of a laboratory, in several languages, or a unit ("kcal", "mV").

    One with an ending of English is, too.
    """
    if is_ucum(word):
        return True
    lowered = _base(word)
    if lowered in _known() or (len(lowered) > 5 and lowered.endswith(_ENDINGS)):
        return True
    sided = len(lowered) == 4 and lowered[0] in "lr" and lowered[1:] in words("label_words")
    return sided or (lowered.endswith("s") and lowered[:-1] in _known())


def is_english(word: str) -> bool:
    """Whether it is an ordinary word of English, or one of the trade or a label in it."""
    lowered = _base(word)
    return any(lowered in words(name) for name in ("english", "other_words", "label_words"))


def is_ordinary(word: str) -> bool:
    """Whether a word in small letters without accents stands in any list of ordinary words."""
    return word in words("english") or any(word in words(name) for name in _LISTS)


def _base(word: str) -> str:
    """A word without what is joined to it by an apostrophe, plain: "Yusuf'un", but "O'Dalaigh" as it is."""
    before, _, after = word.replace("’", "'").partition("'")
    return plain(after if len(before) <= _MOST_JOINED < len(after) else before or word)


@cache
def _known() -> frozenset[str]:
    defined = defined_words() - words("names_of_people")  # codes tell whose formula it is
    return frozenset[str]().union(defined, *map(words, _LISTS)) - words("first_names")


@cache
def defined_words() -> frozenset[str]:
    """Words that names of tables, of columns and codes of closed lists are made of, in small letters."""
    tables = TABLES.values()
    names = {name for table in tables for name in (table.name, *table.column_names)}
    names |= {code.value for table in tables for field in table.fields for code in field.codes}
    return frozenset(word for name in names for word in name.split("_") if len(word) > _LEAST_OWNER and word.isalpha())


@cache
def _names() -> frozenset[str]:
    return words("names_of_people") - _known()
