"""Which texts may be stored in the open and shown without anybody having looked: closed words, codes and numbers.

Everything is held that does not fit, in whatever language or writing: nothing is guessed of it. What a person then
decided is in the books (``pipelines.depot.books.texts``); what tells of a person for certain is for ``identifiers``.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

from pipelines.identity.common_words import plain, words
from pipelines.identity.places import Field, field_of
from schemas.catalogue import tables_of
from schemas.model import Layer
from schemas.study import Study
from schemas.study_codes import StudyCodes

_NUMBER = re.compile(r"[-+±]?[0-9]{1,6}(?:[.,][0-9]{1,6})?(?:[eE][-+]?[0-9]{1,2})?\s?%?")
_VERSION = re.compile(r"v?[0-9]{1,3}(?:\.[0-9]{1,3}){1,3}", re.IGNORECASE)
_UNITS = re.compile(r"(?:Nmm|Nm|N|mm|m|mV|uV|V|deg|rad|Hz|g|kg|s|%)+")
PARTS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")
#: What may stand between words and numbers. Quotes, brackets of mail and web addresses and letters of other writings
#: are none of these.
_BETWEEN = re.compile(r"[\s_.,:;/()\[\]+*#%=|°^²³±µμΩ·×\-]*")
_LONG = re.compile(r"[0-9]{7}")
#: Numbers with no word between them: as dates, telephone numbers and numbers of records are written.
_SIDE_BY_SIDE = re.compile(r"[0-9]+(?:[^A-Za-z0-9]+[0-9]+)+\.?")
#: But for these: a number with decimals, and a rate or range that is above the days of a month.
_DECIMAL = re.compile(r"[0-9]{1,6}[.,][0-9]{1,6}|[0-9]{1,2}\.[0-9]{3,6}\.?")
_RANGE = re.compile(r"([0-9]{1,4})-([0-9]{1,4})|([0-9]{5})-([0-9]{5})")
#: First letters of two names; two names of two letters; six numbers, as days are written in names of files.
_INITIALS = re.compile(r"(?<![A-Za-z])[A-Z](?:\. ?| )[A-Z]\.?(?![A-Za-z0-9])")
_SHORT_PAIR = re.compile(r"(?<![A-Za-z])([A-Z][a-z]) ([A-Z][a-z])(?![A-Za-z0-9])")
_SIX = re.compile(r"(?<![0-9.,])([0-9]{2})([0-9]{2})([0-9]{2})(?![0-9]|[.,][0-9])")
#: Three numbers one after the other, with words between them, of which one may be the two digits of a year.
_NUMBERS = re.compile(r"(?<![0-9A-Za-z.,])[0-9]{1,4}(?![0-9A-Za-z]|[.,][0-9])")
#: A year in which runners are born; 2000 is a rate more often. Behind a word for a count or before a unit it is none.
BIRTH_YEAR = re.compile(
    r"(?<![0-9.,-])(?:19[3-9][0-9]|200[1-9]|201[0-9])(?![0-9]|[.,-][0-9])(?!\s?(?:N|Nm|Nmm|Hz|mV|V|s|ms|mm|m|g|W)\b)"
)
_COUNTS = re.compile(r"(?:frames?|samples?|rows?|lines?|points?|channels?|to|from|rate|gain)\s?$", re.IGNORECASE)
#: Numbers that begin with nought are no measurements; of many digits, or several, they are somebody's.
_NOUGHT = re.compile(r"(?<![0-9.,])0[0-9]{3,}(?![.,]?[0-9])")
_MOST_OF_A_NUMBER = 4
_WHOLE = re.compile(r"(?<![0-9.,])[0-9]{5,}(?![.,]?[0-9])")
#: A day with its month in Roman numbers.
_ROMAN = re.compile(r"[0-9]{1,2}\s?[./-]\s?[IVX]{1,4}\s?[./-]\s?[0-9]{2,4}", re.IGNORECASE)
#: What a code may be made of, and how many pieces of such a run are looked at.
_RUN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_MOST_PIECES = 41
_DAYS = 31
#: Letters that stand alone in labels and remarks, and what joins one to a word in a label.
_SINGLE = frozenset("lrxyzfmvnpwtc")
_LABEL_JOINT = re.compile(r"[_.:-]?")
#: A side at the end or the beginning is joined by a space as well: "EMG TA L", but no initial with its point is.
_SIDE_JOINT = re.compile(r"[ _.:-]?")
#: What is measured along axes, so that X, Y or Z behind it is one.
_HAVE_AXES = frozenset(
    {"acc", "accel", "acceleration", "axis", "force", "gyr", "gyro", "imu", "mag", "moment", "plate"}
)
_UNITS_ALONE = frozenset("nmvwc")
_MOST_ALONE = 3
_MOST_LONG = 200


@dataclass(frozen=True)
class Vocabulary:
    """The closed words of a study. words: single, plain; texts: as a whole; ids: codes of people and trials.

    in_codes: words that the study file declares, of which codes may be made; forms: how it writes them. labels: of
    markers, as the profiles declare them.
    """

    words: frozenset[str]
    texts: frozenset[str]
    ids: frozenset[str] = frozenset()
    in_codes: frozenset[str] = frozenset()
    forms: StudyCodes = field(default_factory=StudyCodes)
    labels: frozenset[str] = frozenset()
    _seen: dict[str, bool] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of(cls, study: Study) -> Vocabulary:
        """From the words of the trade, and from what study file and profiles declare."""
        named = [*study.sites, *study.conditions, *study.visits, *study.muscles, *study.roles_with_side()]
        labels = [label for site in study.sites.values() for label in site.profile.markers.values()]
        own = {plain(part) for name in named for part in PARTS.findall(name) if not part.isdigit()}
        texts = (*named, *labels, *study.known_texts, study.title, *_closed_words())
        in_codes = frozenset(plain(text) for text in study.known_texts if PARTS.fullmatch(text))
        in_codes |= {plain(part) for site in study.sites for part in PARTS.findall(site)}
        own_texts = frozenset(text.strip() for text in texts)
        return cls(_trade() | own, own_texts, in_codes=in_codes, forms=study.codes, labels=frozenset(labels))

    def knowing(self, ids: Iterable[str]) -> Vocabulary:
        """The same with the codes of a delivery's runners, sessions and trials, which are texts of their own."""
        return replace(self, ids=frozenset(ids), _seen={})

    def fits(self, text: str) -> bool:
        """Whether ``text`` is made of known words, codes and numbers alone."""
        if text not in self._seen:
            self._seen[text] = self._fits(text.strip())
        return self._seen[text]

    def _fits(self, text: str) -> bool:
        if not text or text in self.texts or text in self.ids:
            return True
        if _NUMBER.fullmatch(text) or _UNITS.fullmatch(text):
            return not any(map(_is_day, _SIX.findall(text)))
        return len(text) <= _MOST_LONG and self._words_fit(without(text, self.ids))

    def _words_fit(self, text: str) -> bool:
        if _of_somebody(text) or any(map(_is_day_of_words, _three_numbers(text))) or _has_birth_year(text):
            return False
        if _LONG.search(text) or _INITIALS.search(text) or any(map(_tells, _SIDE_BY_SIDE.findall(text))):
            return False
        if (
            _ROMAN.search(text)
            or any(map(_is_day, _SIX.findall(text)))
            or any(map(_no_labels, _SHORT_PAIR.findall(text)))
        ):
            return False
        parts = list(PARTS.finditer(text))
        ends = [0, *(part.end() for part in parts)]
        gaps = [text[a:b] for a, b in zip(ends, [*(part.start() for part in parts), len(text)], strict=True)]
        alone = sum(len(part[0]) == 1 and not part[0].isdigit() for part in parts)
        words_of = [part[0] for part in parts]
        fitting = all(self._part_fits(i, words_of, gaps) for i, word in enumerate(words_of) if not word.isdigit())
        return fitting and all(map(_BETWEEN.fullmatch, gaps)) and alone <= _MOST_ALONE

    def _part_fits(self, i: int, parts: Sequence[str], gaps: Sequence[str]) -> bool:
        lowered = plain(parts[i])
        if len(lowered) == 1:
            return _letter_fits(i, parts, gaps)
        sided = lowered[0] in "lr" and len(lowered) > 3 and not _is_surname(lowered[1:])
        return lowered in self.words or (sided and lowered[1:] in self.words)

    def is_label(self, text: str) -> bool:
        """Whether a label may be shown beside a withheld trial: it tells of no runner, visit or condition either."""
        return text in self.labels or Vocabulary(_trade(), frozenset()).fits(text)

    def fits_as(self, text: str, place: str) -> bool:
        """As ``fits``, in a field of that name.

        For a version also several numbers with points between them; for words of one's own no year of birth alone and
        no words alone that are surnames and say nothing else ("Ball"), which as labels may stand.
        """
        if place.upper().endswith("VERSION"):
            return self.fits(text) or _VERSION.fullmatch(text.strip()) is not None
        told = place != "" and field_of(place) in (Field.TOLD, Field.PERSON, Field.DESCRIBED)
        return self.fits(text) and not (told and text.strip() not in self.ids and _may_be_called(text))


def _may_be_called(text: str) -> bool:
    """Whether a text is a number of somebody, or words alone that people are called and that are no remark."""
    parts = PARTS.findall(text)
    names = bool(parts) and all(plain(part) in words("surnames_alone") for part in parts)
    return names or _of_somebody(text) or BIRTH_YEAR.fullmatch(text.strip()) is not None


def _has_birth_year(text: str) -> bool:
    return any(not _COUNTS.search(text, 0, match.start()) for match in BIRTH_YEAR.finditer(text))


def _of_somebody(text: str) -> bool:
    """Whether numbers in a text are written as those of telephones, records and accounts are."""
    noughts = _NOUGHT.findall(text)
    return len(noughts) > 1 or any(len(n) > _MOST_OF_A_NUMBER for n in noughts) or len(_WHOLE.findall(text)) > 1


def _three_numbers(text: str) -> Iterator[tuple[str, str, str]]:
    numbers = _NUMBERS.findall(text)
    return zip(numbers, numbers[1:], numbers[2:], strict=False)


def _is_day_of_words(three: tuple[str, str, str]) -> bool:
    """Whether three numbers apart from each other are a day, each of it told with two digits or the year with four."""
    if all(len(one) == 2 for one in three):
        return _is_day(three)
    years = [one for one in three if len(one) == 4 and "1930" <= one < "2050"]
    others = [int(one) for one in three if len(one) <= 2]
    return len(years) == 1 and len(others) == 2 and min(others) in range(1, 13) and max(others) <= _DAYS


def _letter_fits(i: int, parts: Sequence[str], gaps: Sequence[str]) -> bool:
    """Whether a letter that stands alone is part of a code or label, a side, an axis or a unit, and no initial.

    gaps: what stands before each part, and after the last. Beside a word it is none if it is joined to it as in a label
    ("L.Heel", "emg_tib_L"), and the word is nobody's surname, too.
    """
    letter, before, after = plain(parts[i]), parts[i - 1] if i else "", parts[i + 1] if i + 1 < len(parts) else ""
    if (before.isdigit() and not gaps[i]) or (after.isdigit() and not gaps[i + 1]):
        return True
    if letter not in _SINGLE:
        return False
    outermost = (i == 0 and not gaps[0].strip()) or (i == len(parts) - 1 and not gaps[-1].strip())
    joint = _SIDE_JOINT if letter in "lr" and outermost else _LABEL_JOINT
    if any(_is_label(word) and joint.fullmatch(gap) for word, gap in ((before, gaps[i]), (after, gaps[i + 1]))):
        return True
    axis = letter in "xyz" and plain(before) in _HAVE_AXES
    unit = letter in _UNITS_ALONE and before.isdigit() and not (after[:1].isupper() or _is_surname(after))
    return axis or unit or all(part.isdigit() for part in (before, after) if part)


def _is_label(word: str) -> bool:
    """Whether a word that a letter is joined to makes a label of both."""
    return len(word) > 1 and word.isalpha() and not _is_surname(word)


def _is_surname(word: str) -> bool:
    return plain(word) in words("surnames_too")


def _no_labels(pair: tuple[str, str]) -> bool:
    """Whether two words of two letters are no labels such as "Fx Fy", so that they may be a name."""
    return not any(plain(word) in words("label_words") for word in pair)


def _is_day(six: tuple[str, str, str]) -> bool:
    """Whether six numbers are a day, a month and a year in any order that is in use."""
    a, b, c = map(int, six)
    return (
        (1 <= a <= _DAYS and 1 <= b <= 12) or (1 <= a <= 12 and 1 <= b <= _DAYS) or (1 <= b <= 12 and 1 <= c <= _DAYS)
    )


def _tells(numbers: str) -> bool:
    """Whether numbers without a word between them may be a date or somebody's number."""
    span = _RANGE.fullmatch(numbers)
    low, high = (int(n) for n in span.groups() if n) if span else (0, 0)
    above = low < high and high > _DAYS
    return not (above or _DECIMAL.fullmatch(numbers))


def without(text: str, ids: Collection[str]) -> str:
    """``text`` with the codes in it left out, the longest first; a code ends where a dot, dash or underscore stands."""
    return _RUN.sub(lambda run: _run_without(run[0], ids), text) if ids else text


def _run_without(run: str, ids: Collection[str]) -> str:
    pieces = re.split(r"([._-])", run)
    if len(pieces) > _MOST_PIECES:
        return run
    kept, at = "", 0
    while at < len(pieces):
        end = next((e for e in range(len(pieces), at, -2) if "".join(pieces[at:e]) in ids), None)
        if end is None:
            kept, at = kept + pieces[at], at + 1
            continue
        kept, at = kept + "_", end
        if at < len(pieces):  # what joins it to the next
            kept, at = kept + "_", at + 1
    return kept


@cache
def _trade() -> frozenset[str]:
    return (words("other_words") | words("label_words")) - words("names_too")


@cache
def _closed_words() -> frozenset[str]:
    """Words of the closed lists of every table, and the names of tables and columns."""
    every = tables_of(Layer.DELIVERY)
    codes = {code.value for table in every for f in table.fields for code in f.codes}
    return frozenset(codes | {name for table in every for name in (str(table.file_name), *table.column_names)})


#: Of a caller who does not ask: nothing fits, and nobody looks.
NO_WORDS = Vocabulary(frozenset(), frozenset())
