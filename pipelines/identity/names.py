# ruff: noqa: E501  (a pattern cut into pieces is harder to check than a long line)
"""Names of people in text: titles, words beside which names stand, common first names, and given word lists."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from pipelines.identity.common_words import words

_CAPITAL = r"[A-ZÀ-ÖØ-ÞŁŚŽŠČ][a-zà-öø-ÿąćęłńóśźżčřšžě]+(?:['’-][A-ZÀ-ÖØ-Þa-zà-öø-ÿ]{2,})*"
_SURNAME = rf"(?:(?:van|von|de|da|di|del|der|den|la|le|el|al|bin|ter|ten|af|av|dos|dal|Mc|Mac|O['’]|D['’])[ -]?){{0,3}}{_CAPITAL}"
_TITLE = re.compile(
    rf"(?<![\w.])(?:Mrs|Mr|Miss|Ms|Mx|Dr|Prof|Professor|Doctor|Nurse|Sister|Sir|Madam|Herr|Frau|Fru|Hr|Monsieur|Mme|Mlle"
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
#: Letters that a name at least has before an ending, and of an ending.
_LEAST_STEM, _MOST_ENDING = 4, 3
_VOWELS = "aeiouyаяоеиыαηοι"
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
    r"|Bland[- ]Altman|Savitzky[- ]Golay|Teager[- ]Kaiser|Grood (?:and|&) Suntay)\b"
)


@dataclass(frozen=True)
class KnownNames:
    """People a laboratory or study names, so that they are found for certain. Never shown, stored or logged.

    parts: words of names, plain, of three letters and more; whole: what counts only as a whole, in small letters: names
    of short words, of writings without spaces, and words run together as in a login; roots: the parts, and those that
    end in a vowel without it, as they stand before an ending.
    """

    parts: frozenset[str] = field(default_factory=frozenset, repr=False)
    whole: frozenset[str] = field(default_factory=frozenset, repr=False)
    roots: frozenset[str] = field(default_factory=frozenset, repr=False)

    @classmethod
    def of(cls, lines: Iterable[str]) -> KnownNames:
        """From lines of one name each, in any writing."""
        parts, whole = set[str](), set[str]()
        for line in lines:
            own = [w.strip(".,;") for w in re.split(r"[\s,;]+", line) if w.strip(".,;")]
            parts |= {plain(w) for word in own for w in _WORDS.findall(word) if len(plain(w)) >= 3}
            parts |= {way for word in own for w in _WORDS.findall(word) for way in _written_otherwise(w)}
            whole |= {w.casefold() for w in own if not w.isascii() and len(w) >= 2 and not _is_latin(w)}
            if len(own) > 1:
                first, last = own[0].casefold(), own[-1].casefold()
                ways = (f"{first} {last}", f"{last} {first}", f"{last}, {first}", f"{first}{last}", f"{last}{first}")
                whole |= {way for way in ways if len(way) > 1 and not (way.isascii() and len(way) < 4)}
                parts |= {plain(f"{first[0]}{last}"), plain(f"{last}{first[0]}")} if _is_latin(first + last) else set()
        parts = {p for p in parts if len(p) >= 3}
        roots = parts | {p[:-1] for p in parts if p[-1] in _VOWELS and len(p) > _LEAST_STEM}
        return cls(frozenset(parts), frozenset(whole), frozenset(roots))

    def __bool__(self) -> bool:
        return bool(self.parts or self.whole)


def _is_latin(word: str) -> bool:
    return all(c < "\u0250" or "\u1e00" <= c < "\u1f00" for c in word)


#: Letters that are no other letter with a sign on it.
_WHOLE_LETTERS = str.maketrans(
    {"ø": "o", "Ø": "O", "ß": "ss", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ı": "i", "ð": "d", "þ": "th", "æ": "ae",
     "Æ": "Ae", "œ": "oe", "Œ": "Oe"}
)  # fmt: skip
#: How letters are written where there are none of them: habits of passports and mail (from memory).
_WAYS = (
    str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe", "æ": "ae"}),
    str.maketrans({"й": "y", "ц": "ts", "у": "u", "к": "k", "е": "e", "н": "n", "г": "g", "ш": "sh", "щ": "shch", "з": "z",
                   "х": "kh", "ъ": "", "ф": "f", "ы": "y", "в": "v", "а": "a", "п": "p", "р": "r", "о": "o", "л": "l",
                   "д": "d", "ж": "zh", "э": "e", "я": "ya", "ч": "ch", "с": "s", "м": "m", "и": "i", "т": "t", "ь": "",
                   "б": "b", "ю": "yu", "ё": "yo", "і": "i", "ї": "yi", "є": "ye", "ґ": "g"}),
    str.maketrans({"α": "a", "β": "v", "γ": "g", "δ": "d", "ε": "e", "ζ": "z", "η": "i", "θ": "th", "ι": "i", "κ": "k",
                   "λ": "l", "μ": "m", "ν": "n", "ξ": "x", "ο": "o", "π": "p", "ρ": "r", "σ": "s", "ς": "s", "τ": "t",
                   "υ": "y", "φ": "f", "χ": "ch", "ψ": "ps", "ω": "o"}),
)  # fmt: skip


def _written_otherwise(word: str) -> set[str]:
    """A word as it may stand where its letters are not at hand, plain."""
    small = unicodedata.normalize("NFC", word.lower())
    ways = {plain(small.translate(way)) for way in _WAYS} | {
        plain(unicodedata.normalize("NFD", small).translate(_WAYS[2]))
    }
    return {way for way in ways if way.isascii() and len(way) >= 3}


def plain(word: str) -> str:
    """In small letters without accents, as it is compared."""
    stripped = unicodedata.normalize("NFKD", word.translate(_WHOLE_LETTERS))
    return "".join(c for c in stripped if not unicodedata.combining(c)).lower()


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
            if own or (match[0][0].isupper() and not _is_word(word) and _stem(word) & known.roots):
                yield match.span()


def _stem(word: str) -> set[str]:
    """What a word with a capital may be the case of: the same with up to three letters less at its end."""
    return {word[:end] for end in range(max(_LEAST_STEM, len(word) - _MOST_ENDING), len(word))}


def _is_word(word: str) -> bool:
    return any(word in words(name) for name in ("plain_words", "other_words", "label_words", "words_abroad"))


def _ordinary(word: str) -> bool:
    """Whether a word of a given name is one of the language, too: then it must be written as a name."""
    return word in words("also_words") or (word not in words("first_names") and _is_word(word))


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
