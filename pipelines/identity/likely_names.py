# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""Words that may be names although no list has them: unknown words with a capital, or where people are spoken of.

What is found here keeps nothing out: it is shown to the laboratory before it sends, and to the person who looks at
texts. What is a name beyond doubt is in ``names``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from pipelines.identity.common_words import plain, words
from pipelines.identity.everyday import is_everyday, is_german, is_german_noun
from pipelines.identity.names import without_eponyms
from pipelines.identity.other_writings import in_other_writings
from pipelines.identity.word_kinds import is_english, is_first_name, is_listed_name, is_of_the_trade

_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")
_SENTENCE = re.compile(r"(?:^|[.!?;:]\s+)\W*$")
_ROLES = re.compile(
    r"(?<![^\W_])(?:subject|participant|patient(?:in)?|runner|athlete|volunteer|operator|tester|examiner|recorded by"
    r"|measured by|placed by|zeroed by|proband(?:in)?|versuchsperson|teilnehmer(?:in)?|l[äa]ufer(?:in)?|aufnahme durch"
    r"|untersucher(?:in)?|gemessen von|paciente|paziente|pacient(?:ul|a|ka)?|sujet|coureur|coureuse|mesur[ée] par"
    r"|sujeto|corredora?|medid[oa] por|soggetto|misurat[oa] da|participante|deelnemer|proefpersoon|gemeten door"
    r"|f[öo]rs[öo]ksperson|m[äa]tt av|m[åa]lt af|m[åa]lt av|fors[øo]ksperson|koehenkil[öo]|mittaaja|badan[ya]"
    r"|zmierzy[łl]a?|m[ée]rte|m[ěe]řil[a]?|ispitanik|denek|[öo]l[çc]en|tiriamasis|katseisik|người chạy|dr|prof|mr|mrs|ms|miss"
    r"|herr|frau|monsieur|madame|mme|mlle|sra?|do[ñn]a?|sig(?:ra|na)?|mevr|dhr|fru|pan[ií]?|bay(?:an)?)"
    r"(?:\s+(?:is|was|von|no))?\.?\s*[:=.]?\s*(?=[^\W\d_])",
    re.IGNORECASE,
)
#: Letters of Latin beyond A to Z, apart by case: in Unicode they take turns.
_BEYOND = "".join(map(chr, range(0xC0, 0x250)))
_UPPER = "A-Z" + "".join(c for c in _BEYOND if c.isupper())
_LOWER = "a-z" + "".join(c for c in _BEYOND if c.islower())
_PATH_WORD = re.compile(rf"[{_UPPER}]?[{_LOWER}]+|[{_UPPER}]+(?![{_LOWER}])|[^\W\d_{_UPPER}{_LOWER}]+")
_CAPITAL = rf"[{_UPPER}][{_LOWER}]{{2,}}"
#: What only people do, behind a first name that is a word, too, and the lists of these.
_SPOKEN = frozenset(
    [
        *("said", "says", "asked", "asks", "ran", "limped", "arrived", "forgot", "wanted", "wants", "complained"),
        *("complains", "stumbled", "phoned", "slept"),
    ]
)
_NAMES_TOO = ("first_names", "also_words", "names_too")
#: "Rautio O.", "Hadzic_S"; "O. Rautio" is found by ``names``.
_WITH_INITIAL = re.compile(rf"(?<![^\W_])({_CAPITAL})[ _,]{{1,2}}(?:[A-Z]\.?|[A-Z][a-z]\.)(?![^\W_])")
#: "R. Black", "Ball L": an initial beside a word of the trade that is a surname, too.
_BESIDE_INITIAL = re.compile(r"(?<![^\W_])(?:[A-Z](?:\. ?| )([A-Z][a-z]{2,})|([A-Z][a-z]{2,}),? [A-Z]\.?)(?![^\W_])")
#: "markers by Su He"
_SHORT_PAIR = re.compile(r"(?<![^\W_])(?:of|by|with|from|for|asked?|told) ([A-Z][a-z] [A-Z][a-z])(?![^\W_])")
#: "KIM-840312": letters of a name and six or eight digits that are a day, as codes of people are made.
_WITH_A_DAY = re.compile(
    r"(?<![^\W_])[A-Z]{2,4}[-_ ]?(?:(?:19|20)?[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01])"
    r"|(?:0[1-9]|[12][0-9]|3[01])(?:0[1-9]|1[0-2])[0-9]{2})(?![0-9])"
)
#: "B.Q.", and "JK says": first letters of two names before what people do.
_TWO_LETTERS = re.compile(r"(?<![\w.])[A-Z]\. ?[A-Z]\.(?!\w)")
_INITIALS = re.compile(r"(?<![^\W_])(?:[A-Z]\.? ?){2} (\w+)")
_OWNING = re.compile(
    rf"(?<![^\W_])({_CAPITAL}|[A-ZÀ-ÖØ-Þ]{{3,}})(?:['’]s(?![^\W_])|-(?:san|sensei|ssi|nim|bey|hanım)(?![^\W_]))"
)
_JOINED = re.compile(rf"(?<![^\W_])(?:[A-Z]|[a-z]{{3,}}|{_CAPITAL})(?:{_CAPITAL}){{1,2}}(?![^\W_])")
_CAMEL = re.compile(rf"[{_UPPER}]?[{_LOWER}]+|[{_UPPER}]")
_MOST_NAMED = 3  # words of a name behind a word that says who
_LEAST_IN_PATHS, _LEAST_IN_OTHER_WRITINGS = 4, 2
#: Words beside an odd one that make a text English.
_LEAST_BESIDE_A_CAPITAL, _LEAST_BESIDE = 1, 2
_LEAST_OF_A_REMARK = 2
#: Shorter words stand small in a title.
_LEAST_OF_A_TITLE = 3
_LONGEST_PIECE = 3
_BEFORE_NAMES = frozenset(
    ["Mc", "Mac", "De", "Di", "Du", "Da", "La", "Le", "Van", "Von", "El", "Al", "Ben", "Bin", "San"]
)
_WITH_AXIS = re.compile(r"[A-Z]{2,4}[xyz]")
_LATIN = re.compile(r"[A-Za-zÀ-ɏ]")


def likely_names(text: str) -> Iterator[tuple[int, int]]:
    """Where words of running text may be a name."""
    text = without_eponyms(text)
    yield from in_other_writings(text)
    tokens = list(_WORD.finditer(text))
    for match in _ROLES.finditer(text):
        behind = [t for t in tokens if t.start() >= match.end()][:_MOST_NAMED]
        if behind and not text[match.end() : behind[0].start()].strip():
            two = len(behind) > 1 and all(_is_capital(t[0]) for t in behind[:2])
            yield from (t.span() for t in behind[:1] if two or _is_no_word(t[0]) or is_first_name(t[0]))
    yield from _by_form(text)
    german = any(t[0].islower() and is_german(t[0]) for t in tokens)
    odd, titled = _odd_one_out(tokens) or _stranger(tokens), _is_a_title(tokens)
    for i, token in enumerate(tokens):
        follower = tokens[i + 1] if i + 1 < len(tokens) else None
        if follower is not None and text[token.end() : follower.start()] not in (" ", "-", ", ", "_"):
            follower = None
        opens = titled or _SENTENCE.search(text[: token.start()]) is not None
        if german and is_german_noun(token[0]) and not is_listed_name(token[0]):
            continue
        if _may_be_a_name(token[0], follower[0] if follower else "", opens=opens) or token is odd:
            yield token.span()
        elif follower is not None and _both_unknown(token[0], follower[0]):
            yield token.start(), follower.end()
    yield from _big(tokens)


def _may_be_a_name(word: str, follower: str, *, opens: bool) -> bool:
    """Whether a word is unknown and has a capital within a sentence, or is a name by some list. follower: beside it."""
    if _is_short_for_something(word):
        return False
    if not _is_capital(word):
        return (len(word) > 3 and is_first_name(word)) or (len(word) > _LEAST_IN_PATHS and is_listed_name(word))
    if plain(follower) in _SPOKEN and any(plain(word) in words(name) for name in _NAMES_TOO):
        return True
    if _is_capital(follower) and plain(word) in words("names_too") and plain(follower) not in words("other_words"):
        return True
    if is_of_the_trade(word) and not is_first_name(word):
        return False
    owner = word.endswith("s") and plain(follower) in words("owned") and not is_english(word)
    return not opens or owner or is_listed_name(word) or (bool(follower) and _goes_on(word, follower))


def _is_a_title(tokens: list[re.Match[str]]) -> bool:
    """Whether every long word begins with a capital and is ordinary English and nobody's name: "Noise Floor Test"."""
    long = [token[0] for token in tokens if len(token[0]) > _LEAST_OF_A_TITLE]
    return len(long) > 1 and all(_is_capital(w) and is_english(w) and not is_listed_name(w) for w in long)


def _is_short_for_something(word: str) -> bool:
    """Whether a word is pieces of two or three letters run together, or a short one in capitals with an axis behind it.

    As labels are: "FemEpi", "COPx", "Wi" of Wi-Fi; not "McKay".
    """
    pieces = _CAMEL.findall(word)
    short = len(pieces) > 1 and all(1 < len(piece) <= _LONGEST_PIECE for piece in pieces) and "".join(pieces) == word
    return (short and pieces[0] not in _BEFORE_NAMES) or bool(_WITH_AXIS.fullmatch(word))


def _odd_one_out(tokens: list[re.Match[str]]) -> re.Match[str] | None:
    """The one word of an English text that is none of English and not of the trade."""
    long = [token for token in tokens if len(token[0]) > 1]
    odd = [token for token in long if not is_english(token[0]) and not _is_a_label(token[0])]
    if len(odd) != 1 or len(odd[0][0]) < _LEAST_IN_PATHS or not odd[0][0].isascii() or is_of_the_trade(odd[0][0]):
        return None
    if odd[0][0].islower() and is_everyday(odd[0][0]):
        return None
    if all(plain(token[0]) in words("words_abroad") for token in long if token is not odd[0]):
        return None
    least = _LEAST_BESIDE_A_CAPITAL if _is_capital(odd[0][0]) else _LEAST_BESIDE
    return odd[0] if len(long) > least else None


def _stranger(tokens: list[re.Match[str]]) -> re.Match[str] | None:
    """The one word that is an everyday one of no language, in a text of words that all are."""
    long = [token for token in tokens if len(token[0]) > 1]
    odd = [token for token in long if not _is_known(token[0])]
    if len(odd) != 1 or len(long) < _LEAST_OF_A_REMARK or len(odd[0][0]) < _LEAST_IN_PATHS + 1:
        return None
    if odd[0][0].islower() and odd[0] is not tokens[0]:  # a name stands first, or has a capital; a rare word need not
        return None
    return odd[0] if _LATIN.match(odd[0][0]) and not _is_a_label(odd[0][0]) else None


def _is_known(word: str) -> bool:
    return is_of_the_trade(word) or is_english(word) or is_everyday(word) or _is_short_for_something(word)


def _is_no_word(word: str) -> bool:
    """Whether a word is none of the trade, and none of English or an everyday one of another language if it is small."""
    return not is_of_the_trade(word) and not (word.islower() and (is_english(word) or is_everyday(word)))


def _is_a_label(word: str) -> bool:
    """Whether a word is in capitals or has some within, as labels and units are."""
    return word[1:] != word[1:].lower()


def _by_form(text: str) -> Iterator[tuple[int, int]]:
    """An unknown word with initials, with the sign of an owner or an address behind it, or joined with others."""
    for match in _WITH_INITIAL.finditer(text):
        if not is_of_the_trade(match[1]):
            yield match.span()
    yield from (match.span() for match in _WITH_A_DAY.finditer(text))
    for match in _BESIDE_INITIAL.finditer(text):
        if plain(match[1] or match[2]) in words("surnames_too"):
            yield match.span()
    yield from (match.span(1) for match in _SHORT_PAIR.finditer(text))
    yield from (match.span() for match in _TWO_LETTERS.finditer(text))
    for match in _INITIALS.finditer(text):
        if plain(match[1]) in words("of_people") and match[1] != "a":
            yield match.start(), match.start(1) - 1
    for match in _OWNING.finditer(text):
        if not is_of_the_trade(match[1]):
            yield match.span(1)
    for match in _JOINED.finditer(text):
        parts = _CAMEL.findall(match[0])
        unknown = all(len(part) == 1 or not is_of_the_trade(part) for part in parts)
        if unknown and any(len(part) >= _LEAST_IN_PATHS for part in parts):
            yield match.span()


def likely_names_in_a_path(path: str) -> Iterator[tuple[int, int]]:
    """Where words of the name of a file or folder may be a name."""
    stem = path.rpartition(".")[0] or path
    yield from (match.span() for match in _WITH_A_DAY.finditer(stem))
    for match in _PATH_WORD.finditer(stem):
        least = _LEAST_IN_PATHS if _LATIN.match(match[0]) else _LEAST_IN_OTHER_WRITINGS
        if len(match[0]) >= least and (not _is_plain(match[0]) or is_first_name(match[0])):
            yield match.span()


def _is_plain(word: str) -> bool:
    """Whether a word of a file's name is of the trade, or small English that is nobody's name."""
    named = any(plain(word) in words(name) for name in (*_NAMES_TOO, "surnames_too", "surnames_alone"))
    return is_of_the_trade(word) or (word.islower() and is_english(word) and not named and not is_listed_name(word))


def _goes_on(word: str, follower: str) -> bool:
    """Whether what follows an unknown word at the beginning makes it a person: a second one, or what people do."""
    if _is_capital(follower):
        return not is_of_the_trade(follower)
    return plain(follower) in words("of_people") and len(word) > 2


def _both_unknown(one: str, other: str) -> bool:
    small = (
        one.islower() and other.islower() and bool(_LATIN.match(one)) and not (is_english(one) and is_english(other))
    )
    unknown = small and all(len(w) > 2 and not is_of_the_trade(w) for w in (one, other))
    return unknown and not (is_everyday(one) and is_everyday(other))


def _big(tokens: list[re.Match[str]]) -> Iterator[tuple[int, int]]:
    """Two words in capitals side by side, neither of which is known; or one before what people do."""
    for one, other in pairwise(tokens):
        alone = one[0].isupper() and len(one[0]) > 2 and not is_of_the_trade(one[0])
        if alone and plain(other[0]) in words("of_people"):
            yield one.span()
    for one, other in pairwise(tokens):
        big = all(w[0].isupper() and len(w[0]) > 2 for w in (one, other)) and other.start() - one.end() == 1
        unknown = not is_of_the_trade(one[0]) and not is_of_the_trade(other[0])
        if big and (unknown or is_first_name(one[0]) or is_first_name(other[0])):
            yield one.start(), other.end()


def _is_capital(word: str) -> bool:
    return bool(word) and word[0].isupper() and (len(word) == 1 or not word.isupper()) and len(word) > 1
