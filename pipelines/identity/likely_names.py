# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""Words that may be names although no list has them: unknown words with a capital, or where people are spoken of.

What is found here keeps nothing out: it is shown to the laboratory before it sends, and to the person who looks at
texts. What is a name beyond doubt is in ``names``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise

from pipelines.identity.common_words import words
from pipelines.identity.names import plain, without_eponyms

_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")
_PATH_WORD = re.compile(r"[A-ZÀ-ÖØ-Þ]?[a-zß-öø-ÿ]+|[A-ZÀ-ÖØ-Þ]+(?![a-zß-öø-ÿ])|[^\W\d_A-Za-zÀ-ÿ]+")
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
_OF_PEOPLE = frozenset(
    [
        "came",
        "ran",
        "was",
        "had",
        "has",
        "felt",
        "said",
        "says",
        "stopped",
        "limped",
        "arrived",
        "asked",
        "fell",
        "slipped",
        "stumbled",
        "tripped",
        "warmed",
        "walked",
        "slept",
        "forgot",
        "war",
        "kam",
        "hat",
        "ist",
        "lief",
        "sagte",
        "est",
        "arrive",
        "llego",
        "llega",
        "se",
        "e",
        "ha",
        "era",
        "chegou",
        "kwam",
        "had",
        "kom",
        "hade",
        "hadde",
        "havde",
        "myohastyi",
        "przyszedl",
        "przyszla",
        "prisel",
        "prisla",
        "kesett",
        "a",
        "kasni",
        "gec",
        "jai",
        "kavejas",
        "vela",
        "den",
        "datang",
        "sanoi",
        "wants",
        "wanted",
        "did",
        "brought",
        "needs",
        "needed",
        "preferred",
        "declined",
        "complains",
        "complained",
        "phoned",
        "repeated",
        "wore",
        "looked",
        "ba",
        "bad",
        "lob",
        "lop",
        "parou",
        "paro",
        "kerte",
        "zatrzymal",
    ]
)
_NOT_LATIN = re.compile(
    r"[^\W\d_A-Za-zÀ-ɏḀ-ỿªºµΩμΔΣ](?:[^\W\d_]|[\u0300-\u036f\u0590-\u05cf\u064b-\u065f\u0900-\u0e7f]){1,}"
)
_CAPITAL = r"[A-ZÀ-ÖØ-ÞĀ-Ž][a-zß-öø-ÿā-ž]{2,}"
#: "Rautio O.", "Hadzic_S"; "O. Rautio" is found by ``names``.
_WITH_INITIAL = re.compile(rf"(?<![^\W_])({_CAPITAL})[ _,]{{1,2}}[A-Z]\.?(?![^\W_])")
#: "R. Black", "Ball L": an initial beside a word of the trade that is a surname, too.
_BESIDE_INITIAL = re.compile(r"(?<![^\W_])(?:[A-Z](?:\. ?| )([A-Z][a-z]{2,})|([A-Z][a-z]{2,}),? [A-Z]\.?)(?![^\W_])")
#: "KIM-840312": letters of a name and six or eight digits that are a day, as codes of people are made.
_WITH_A_DAY = re.compile(
    r"(?<![^\W_])[A-Z]{2,4}[-_ ]?(?:(?:19|20)?[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01])"
    r"|(?:0[1-9]|[12][0-9]|3[01])(?:0[1-9]|1[0-2])[0-9]{2})(?![0-9])"
)
#: "JK says": first letters of two names before what people do.
_INITIALS = re.compile(r"(?<![^\W_])(?:[A-Z]\.? ?){2} (\w+)")
_OWNING = re.compile(
    rf"(?<![^\W_])({_CAPITAL}|[A-ZÀ-ÖØ-Þ]{{3,}})(?:['’]s(?![^\W_])|-(?:san|sensei|ssi|nim|bey|hanım)(?![^\W_]))"
)
_JOINED = re.compile(rf"(?<![^\W_])(?:[A-Z]|[a-z]{{3,}}|{_CAPITAL})(?:{_CAPITAL}){{1,2}}(?![^\W_])")
_CAMEL = re.compile(r"[A-ZÀ-ÖØ-ÞĀ-Ž]?[a-zß-öø-ÿā-ž]+|[A-Z]")
_ENDINGS = ("ed", "ing", "ly", "tion", "tions", "ness", "ment", "able")
_MOST_NAMED = 3  # words of a name behind a word that says who
_LEAST_IN_PATHS, _LEAST_IN_OTHER_WRITINGS = 4, 2
_LATIN = re.compile(r"[A-Za-zÀ-ɏ]")


def likely_names(text: str) -> Iterator[tuple[int, int]]:
    """Where words of running text may be a name."""
    text = without_eponyms(text)
    yield from (match.span() for match in _NOT_LATIN.finditer(text))
    tokens = list(_WORD.finditer(text))
    for match in _ROLES.finditer(text):
        behind = [t for t in tokens if t.start() >= match.end()][:_MOST_NAMED]
        if behind and not text[match.end() : behind[0].start()].strip():
            yield from (t.span() for t in behind[:1] if _unknown(t[0]) or _first(t[0]))
    yield from _by_form(text)
    for i, token in enumerate(tokens):
        follower = tokens[i + 1] if i + 1 < len(tokens) else None
        beside = follower is not None and text[token.end() : follower.start()] in (" ", "-", ", ", "_")
        if _is_capital(token[0]):
            if not _unknown(token[0]) and not _first(token[0]):
                continue
            opens = _SENTENCE.search(text[: token.start()]) is not None
            if not opens or _first(token[0]) or (beside and follower is not None and _goes_on(token[0], follower[0])):
                yield token.span()
        elif len(token[0]) > 3 and _first(token[0]):
            yield token.span()
        elif beside and follower is not None and _both_unknown(token[0], follower[0]):
            yield token.start(), follower.end()
    yield from _big(tokens)


def _by_form(text: str) -> Iterator[tuple[int, int]]:
    """An unknown word with initials, with the sign of an owner or an address behind it, or joined with others."""
    for match in _WITH_INITIAL.finditer(text):
        if _unknown(match[1]):
            yield match.span()
    yield from (match.span() for match in _WITH_A_DAY.finditer(text))
    for match in _BESIDE_INITIAL.finditer(text):
        if plain(match[1] or match[2]) in words("surnames_too"):
            yield match.span()
    for match in _INITIALS.finditer(text):
        if plain(match[1]) in _OF_PEOPLE and match[1] != "a":
            yield match.start(), match.start(1) - 1
    for match in _OWNING.finditer(text):
        if _unknown(match[1]):
            yield match.span(1)
    for match in _JOINED.finditer(text):
        parts = _CAMEL.findall(match[0])
        if all(len(part) == 1 or _unknown(part) for part in parts) and any(len(p) >= _LEAST_IN_PATHS for p in parts):
            yield match.span()


def likely_names_in_a_path(path: str) -> Iterator[tuple[int, int]]:
    """Where words of the name of a file or folder may be a name."""
    stem = path.rpartition(".")[0] or path
    yield from (match.span() for match in _WITH_A_DAY.finditer(stem))
    for match in _PATH_WORD.finditer(stem):
        least = _LEAST_IN_PATHS if _LATIN.match(match[0]) else _LEAST_IN_OTHER_WRITINGS
        if len(match[0]) >= least and (_unknown(match[0]) or _first(match[0])):
            yield match.span()


def _goes_on(word: str, follower: str) -> bool:
    """Whether what follows an unknown word at the beginning makes it a person: a second one, or what people do."""
    if _is_capital(follower):
        return _unknown(follower)
    return plain(follower) in _OF_PEOPLE and len(word) > 2


def _both_unknown(one: str, other: str) -> bool:
    small = one.islower() and other.islower()
    return small and all(len(w) > 2 and _unknown(w) for w in (one, other))


def _big(tokens: list[re.Match[str]]) -> Iterator[tuple[int, int]]:
    """Two words in capitals side by side, neither of which is known; or one before what people do."""
    for one, other in pairwise(tokens):
        if one[0].isupper() and len(one[0]) > 2 and _unknown(one[0]) and plain(other[0]) in _OF_PEOPLE:
            yield one.span()
    for one, other in pairwise(tokens):
        big = all(w[0].isupper() and len(w[0]) > 2 for w in (one, other)) and other.start() - one.end() == 1
        if big and ((_unknown(one[0]) and _unknown(other[0])) or _first(one[0]) or _first(other[0])):
            yield one.start(), other.end()


def _is_capital(word: str) -> bool:
    return word[0].isupper() and (len(word) == 1 or not word.isupper()) and len(word) > 1


def _first(word: str) -> bool:
    return plain(word) in words("first_names") and plain(word) not in words("also_words")


def _unknown(word: str) -> bool:
    lowered = plain(word.replace("’", "'").partition("'")[0] or word)
    if lowered in _known() or (len(lowered) > 5 and lowered.endswith(_ENDINGS)):
        return False
    sided = len(lowered) == 4 and lowered[0] in "lr" and lowered[1:] in words("label_words")
    return not (sided or (lowered.endswith("s") and lowered[:-1] in _known()))


@cache
def _known() -> frozenset[str]:
    every = words("plain_words") | words("other_words") | words("label_words") | words("words_abroad")
    return every - words("first_names")
