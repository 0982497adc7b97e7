# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""Names of people in text: titles, words beside which names stand, common first names, and given word lists."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from pipelines.identity.common_words import plain, words
from pipelines.identity.name_forms import is_a_case, roots_of, sounds_alike, sounds_of, written_otherwise

_CAPITAL = r"[A-ZÀ-ÖØ-ÞŁŚŽŠČ][a-zà-öø-ÿąćęłńóśźżčřšžě]+(?:['’-][A-ZÀ-ÖØ-Þa-zà-öø-ÿ]{2,})*"
_SURNAME = rf"(?:(?:van|von|de|da|di|del|der|den|la|le|el|al|bin|ter|ten|af|av|dos|dal|Mc|Mac|O['’]|D['’])[ -]?){{0,3}}{_CAPITAL}"
_TITLE = re.compile(
    rf"(?<![\w.])(?:Mrs|Mr|Miss|Ms|Mx(?=\.? ?[A-Z][a-z]{{2}})|Dr|Prof|Professor|Doctor|Nurse|Sister|Sir|Madam|Herr|Frau|Fru|Hr|Monsieur|Mme|Mlle"
    rf"|Se[ñn]or(?:a|ita)?|Signora?|Mevrouw|Meneer)\.? ?(?:[A-Z]\. ?)*({_SURNAME}(?: {_SURNAME})?|[A-Z]{{3,}})"
)
_ROLE = (
    r"operators?|testers?|examiners?|recorded by|tested by|measured by|collected by|assisted by|assistant|contacts?|signed"
    r"|signed by|entered by|checked by|written by|processed by|labelled by|subject(?: name)?|patient(?: name)?"
    r"|participant(?: name)?|runner(?: name)?|athlete(?: name)?|coach|names?|name is|named|called|ask|asked|told"
    r"|emergency contact|next of kin|mother|father|husband|wife|partner|son|daughter|brother|sister|therapist"
    r"|physiotherapist|investigator|student|author|owner|user|by|with|thanks to|thank|see|says|according to|from|for|and"
)
_STRONG_ROLE = (
    r"operators?|testers?|examiners?|recorded by|tested by|measured by|collected by|assisted by|signed(?: by)?|entered by"
    r"|checked by|written by|processed by|labelled by|subject name|patient name|participant name|runner name|athlete name"
    r"|name|named|surname|first name|last name|family name|next of kin|emergency contact|coach|therapist|physiotherapist"
    r"|investigator|author|mother|father|husband|wife|daughter|brother"
)
_AFTER_ROLE = re.compile(
    rf"(?<![\w-])(?i:{_STRONG_ROLE})(?i:\s+(?:is|was|are))?\s*[:=]?\s*({_SURNAME}(?:,? {_SURNAME}){{0,2}}|[A-Z]\. ?{_SURNAME})"
)
_LOWER_AFTER_ROLE = re.compile(
    rf"(?<![\w-])(?i:{_STRONG_ROLE}|patient|subject|participant|runner|athlete)\s*[:=]\s*([a-zà-öø-ÿ]{{3,}}(?: [a-zà-öø-ÿ]{{2,}}){{0,2}}|[A-Z]{{4,}}(?: [A-Z]{{3,}})?)"
)
_PAIR = re.compile(rf"(?<![\w'’-])({_CAPITAL})(?: [A-Z]\.?)? ({_SURNAME})(?![\w'’-])")
_INITIAL = re.compile(rf"(?<![\w.])((?:[A-Z]\. ?){{1,2}}{_CAPITAL})(?![\w-])")
_LAST_FIRST = re.compile(rf"(?<![\w-])({_CAPITAL}), ({_CAPITAL})(?![\w-])")
_BIG_PAIR = re.compile(r"(?<![\w-])([A-Z]{3,}),? ([A-Z]{3,})(?![\w-])")
_WORDS = re.compile(r"[^\W\d_]+")
_NAME_PARTS = re.compile(r"[A-ZÀ-ÖØ-Þ]?[a-zà-öø-ÿ]+|[A-ZÀ-ÖØ-Þ]+(?![a-zà-öø-ÿ])")
#: Behind a name at the beginning of a sentence.
_PERSON_GOES_ON = re.compile(
    r"(?:['’]s)? (?:[A-ZÀ-ÖØ-Þ][a-zß-öø-ÿ]|(?:said|says|came|ran|runs|limped|stopped|tripped|fell|asked|asks|wants|wanted"
    r"|brought|forgot|felt|feels|did|had|has|arrived|declined|preferred|complains|complained|phoned|walked|slept)\b)"
)
_LEAST_HEARD = 5
_CODES = re.compile(
    r"(?i:^(?:(?:x|n/?a|none|unknown|anonymous|anonymi[sz]ed|anon|nn|test|default|demo|no ?name|untitled|new|blank|removed"
    r"|simulated|invented|generic|not given|withheld|kept back|code|male|female|m|f|standing|running|static|walking"
    r"|left|right|model|skeleton|body|full ?body|lower ?body|upper ?body|human|calibration|yes|no|true|false)[ ,;/.-]*)+$)"
    r"|(?i:^(?:sub|subj|subject|s|p|pt|part|participant|patient|pat|runner|athlete|person|proband|id|r|a|c|client|ppt|vp)?"
    r"[ _.-]?[a-z]{0,3}[ _.-]?[0-9]+[a-z]?(?:[ _.-][a-z0-9]{1,6})*$)"
    r"|(?i:^(?:sub|subj|subject|participant|patient|runner|athlete|person|client)s?[ _.-]?[a-z]?$)"
)


#: From memory.
_EPONYMS = re.compile(
    r"\b(?:Helen Hayes|Douglas bag|(?:Thomas|Ober|Lachman|Trendelenburg|Thompson|Ely|Craig|Silfverskiöld|Duncan|McMurray|Apley|Noble"
    r"|Phelps|Jack|Hubscher|Faber|Patrick|Slocum|Godfrey|Adam|Romberg)(?:'?s)? (?:test|sign)|Blix curve"
    r"|[A-ZÄÖÜ][a-zäöüß]{3,}(?:[-–][A-ZÄÖÜ][a-zäöüß]{3,})?(?:'?s)? (?:reflex|filters?|window|transform|spectrum|operator"
    r"|sequence|plots?|equation|criterion|coefficient|distribution)(?= |$|[,.;:)])"
    r"|Bland[- ]Altman|Savitzky[- ]Golay|Teager[- ]Kaiser|Grood (?:and|&) Suntay)\b"
)


@dataclass(frozen=True)
class KnownNames:
    """People a laboratory or study names, so that they are found for certain. Never shown, stored or logged.

    parts: words of names, plain, of three letters and more; whole: what counts only as a whole, in small letters: names
    of short words, of writings without spaces, and words run together as in a login; roots: the parts as they may stand
    before an ending; sounds: as they are written by others who hear them.
    """

    parts: frozenset[str] = field(default_factory=frozenset, repr=False)
    whole: frozenset[str] = field(default_factory=frozenset, repr=False)
    roots: frozenset[str] = field(default_factory=frozenset, repr=False)
    sounds: frozenset[str] = field(default_factory=frozenset, repr=False)

    @classmethod
    def of(cls, lines: Iterable[str]) -> KnownNames:
        """From lines of one name each, in any writing."""
        parts, whole = set[str](), set[str]()
        for line in lines:
            own = [w.strip(".,;") for w in re.split(r"[\s,;]+", line) if w.strip(".,;")]
            parts |= {plain(w) for word in own for w in _WORDS.findall(word) if len(plain(w)) >= 3}
            parts |= {way for word in own for w in _WORDS.findall(word) for way in written_otherwise(w)}
            whole |= {w.casefold() for w in own if not w.isascii() and len(w) >= 2 and not _is_latin(w)}
            if len(own) > 1:
                first, last = own[0].casefold(), own[-1].casefold()
                ways = (f"{first} {last}", f"{last} {first}", f"{last}, {first}", f"{first}{last}", f"{last}{first}")
                whole |= {way for way in ways if len(way) > 1 and not (way.isascii() and len(way) < 4)}
                parts |= {plain(f"{first[0]}{last}"), plain(f"{last}{first[0]}")} if _is_latin(first + last) else set()
        parts = {p for p in parts if len(p) >= 3}
        return cls(frozenset(parts), frozenset(whole), roots_of(parts), sounds_of(parts))

    def __bool__(self) -> bool:
        return bool(self.parts or self.whole)


def _is_latin(word: str) -> bool:
    return all(c < "\u0250" or "\u1e00" <= c < "\u1f00" for c in word)


def looks_like_a_code(text: str) -> bool:
    """Whether a field that should name a person holds a study code or an empty word instead."""
    return not any(c.isalpha() for c in text) or bool(_CODES.match(text.strip(" *_-.?")))


def known_in(text: str, known: KnownNames) -> Iterator[tuple[int, int]]:
    """Where a given name stands, whatever its case or accents, also in a run of words such as a file's name."""
    if not known:
        return
    yield from _known_whole(text, known)
    for pattern in (_WORDS, _NAME_PARTS):
        for match in pattern.finditer(text):
            word = plain(match[0])
            own = word in known.parts and (not _ordinary(word) or _is_named(text, match))
            if own or (not _is_word(word) and match[0][0].isupper() and is_a_case(word, known.roots, capital=True)):
                yield match.span()


def heard_in(text: str, known: KnownNames) -> Iterator[tuple[int, int]]:
    """Where a given name may stand, written small before an ending, or by its sound."""
    for match in _WORDS.finditer(text) if known else ():
        word = plain(match[0])
        alike = is_a_case(word, known.roots, capital=False) or sounds_alike(word, known.sounds)
        if alike and len(word) >= _LEAST_HEARD and not _is_word(word):
            yield match.span()


def _is_word(word: str) -> bool:
    return any(word in words(name) for name in ("plain_words", "other_words", "label_words", "words_abroad", "english"))


def _ordinary(word: str) -> bool:
    """Whether a word of a given name is one of the language, too: then it must be written as a name."""
    trade = any(word in words(name) for name in ("plain_words", "other_words", "label_words", "words_abroad"))
    return word in words("also_words") or (word not in words("first_names") and trade)


def _is_named(text: str, match: re.Match[str]) -> bool:
    """Whether a name that is an ordinary word, too, is written as names are: with a capital, not at the beginning.

    At the beginning it is one beside another word with a capital, or before what people do.
    """
    if not match[0][0].isupper():
        return False
    inside = re.search(r"[^\W\d_][^.!?]*$", text[: match.start()]) is not None
    return inside or _PERSON_GOES_ON.match(text, match.end()) is not None


def _known_whole(text: str, known: KnownNames) -> Iterator[tuple[int, int]]:
    """Names that count only as a whole; in writings that part words by spaces not within another word."""
    lowered = text.casefold()
    if len(lowered) != len(text):  # a letter became two, and places would shift
        lowered = text.lower() if len(text.lower()) == len(text) else text
    for name in known.whole:
        at = lowered.find(name)
        while at >= 0:
            end = at + len(name)
            inside = name[0].isascii() and (lowered[at - 1 : at].isalpha() or lowered[end : end + 1].isalpha())
            if not inside:
                yield at, end
            at = lowered.find(name, end)


def without_eponyms(text: str) -> str:
    """``text`` with names of tests, models and marker sets blanked: they are of people who are not in the study."""
    return _EPONYMS.sub(lambda found: "_" * len(found[0]), text)


def told_names(text: str, *, guess: bool = True) -> Iterator[tuple[int, int]]:
    """Names in free text. guess: two words with capitals that no list knows are a name, too."""
    text = without_eponyms(text)
    for match in _TITLE.finditer(text):
        yield match.span()
    for match in _AFTER_ROLE.finditer(text):
        if not all(_other(word) for word in _WORDS.findall(match[1])):
            yield match.span(1)
    for match in _LOWER_AFTER_ROLE.finditer(text):
        if not any(_other(word) for word in _WORDS.findall(match[1])):
            yield match.span(1)
    for match in _PAIR.finditer(text):
        if _pair(match[1], match[2]) and (guess or _first(match[1])):
            yield match.span()
    for match in _INITIAL.finditer(text) if guess else ():
        if not _other(_WORDS.findall(match[1])[-1]):
            yield match.span()
    for match in _LAST_FIRST.finditer(text):
        if not _other(match[1]) and (_first(match[2]) or (guess and not _other(match[2]))):
            yield match.span()
    for match in _BIG_PAIR.finditer(text):
        if (_first(match[1]) and not _other(match[2])) or (_first(match[2]) and not _other(match[1])):
            yield match.span()
    for match in _WORDS.finditer(text):
        if match[0][0].isupper() and _first(match[0]) and (match[0][1:].islower() or len(match[0]) > 4):
            yield match.span()


def names_in_a_path(part: str) -> Iterator[tuple[int, int]]:
    """Common first names in the name of one file or folder, whatever their case."""
    for match in _NAME_PARTS.finditer(part):
        word = plain(match[0])
        if (
            word in words("first_names")
            and len(word) >= 4
            and (word not in words("also_words") or match[0][0].isupper())
        ):
            yield match.span()


def _pair(first: str, second: str) -> bool:
    """Whether two words with capitals are a person: a first name, or neither is a word known to be another."""
    last = _WORDS.findall(second)[-1]
    if plain(first) in words("first_names"):
        return not _other(last) or plain(first) not in words("also_words")
    return not _other(first) and not _other(last) and len(first) > 2


def _first(word: str) -> bool:
    return plain(word) in words("first_names") and plain(word) not in words("also_words")


def _other(word: str) -> bool:
    lowered = plain(word)
    if lowered in words("other_words") or lowered in words("label_words"):
        return True
    return (lowered in words("plain_words") and lowered not in words("first_names")) or (
        lowered.endswith(("ed", "ing", "ly", "tion")) and len(lowered) > 5
    )
