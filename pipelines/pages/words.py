"""How facts are said on a page: names of checks, outcomes and units in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from itertools import product

from schemas.convert.words import unit_words
from schemas.model import SUFFIX_UNITS

#: Sign and word always stand together, so that colour is never needed to tell them apart.
SIGNS = {
    "accepted": "●",
    "returned": "▲",
    "withheld": "◇",
    "taken_in": "●",
    "stopped": "■",
    "repeat": "○",
    "stops": "■",
    "returns": "▲",
    "withholds": "◇",
    "notes": "○",
}
STATUS_WORDS = {"taken_in": "taken in", "stopped": "stopped", "repeat": "repeat, not used again"}
WEIGHT_WORDS = {
    "stops": "stops the delivery",
    "returns": "must be corrected",
    "withholds": "keeps a trial out",
    "notes": "for your notice",
}
#: Said where a trial went back and no finding is recorded.
NO_FINDING = "no finding is recorded"
_SHORT_UNITS = {
    "deg": "°",
    "uV": "µV",
    "N.m": "N·m",
    "{BW}": "body weights",
    "{BW}/s": "BW/s",
    "{BW}.s": "BW·s",
    "J/(kg.m)": "J/(kg·m)",
}


def short_unit(code: str | None) -> str:
    """A UCUM unit as it reads after a number on a page; empty for none."""
    return _SHORT_UNITS.get(code or "", unit_words(code))


_MINUS = re.compile(r"(?<![\w.)\]-])-(?=\d)")
_SIGNED_ZERO = re.compile(r"(?<![\w.)\]-])[+-](?=0(?:\.0+)?(?![\d.]*\d))")
_CODED = {"uV": "µV", "N.m": "N·m"}
_CODED_AFTER_NUMBER = re.compile(r"(?<=\d )(uV|N\.m)\b")


def with_minus(words: str) -> str:
    """A sentence whose negative numbers have a minus sign; ids and ranges such as FS-01 and 3-5 stay as they are."""
    return _MINUS.sub("\N{MINUS SIGN}", words)


def as_read(sentence: str) -> str:
    """A sentence of a check as it is read: true minus signs, no sign before a zero, units after numbers as signs."""
    without_zeros = with_minus(_SIGNED_ZERO.sub("", sentence))
    return _CODED_AFTER_NUMBER.sub(lambda found: _CODED[found[0]], without_zeros)


def sized(value: float, unit: str) -> str:
    """A number with its UCUM unit as people read it: "20 N", "3.5"."""
    words = short_unit(unit)
    return with_minus(f"{value:g}") + (words if words == "°" else f" {words}" if words else "")


@cache
def _sentences() -> dict[str, str]:
    from checks.registry import catalogue

    return {name: spec.sentence for name, spec in catalogue().items()}


def check_words(name: str) -> str:
    """What a check says should hold, as its catalogue says it; a check no longer there is its name in words."""
    words = name.replace("_", " ").strip()
    return _sentences().get(name, words[:1].upper() + words[1:]).rstrip(".")


def outcome_words(name: str) -> str:
    """An outcome's name as people say it, without its unit: "Contact time", "Soleus, left: onset before contact"."""
    *apart, column = name.split("/")
    fitting = [suffix for suffix in SUFFIX_UNITS if column.endswith(suffix) and suffix != column]
    bare = column.removesuffix(max(fitting, key=len)) if fitting else column
    words = ": ".join([", ".join(apart), bare] if apart else [bare]).replace("_", " ")
    return words[:1].upper() + words[1:]


def joined(words: list[str]) -> str:
    """A list as people say it: "a, b and c"."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1] if words else ""


def counted(count: int, one: str, many: str | None = None) -> str:
    """ "1 trial", "3 trials"."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def size_words(count: int) -> str:
    """Bytes as people read them, decimal units: "1.2 MB"."""
    size = float(count)
    for unit in ("bytes", "kB", "MB"):
        if size < 1000:
            return f"{size:.0f} {unit}" if unit == "bytes" or size >= 100 else f"{size:.1f} {unit}"
        size /= 1000
    return f"{size:.1f} GB"


def time_words(stamp: str) -> str:
    """An ISO time in UTC as people read it; anything else as it stands."""
    return f"{stamp[:10]} {stamp[11:16]} UTC" if len(stamp) >= 16 and stamp[10] == "T" else stamp


def visit_words(visit: str | None, weeks: dict[str, int]) -> str:
    """A visit with its planned week."""
    if visit is None:
        return "visit not known"
    words = visit.replace("_", " ")
    if visit not in weeks or str(weeks[visit]) in re.findall(r"\d+", visit):
        return words
    return f"{words} (week {weeks[visit]})"


def signed(value: float, digits: int) -> str:
    """A difference with its sign, a true minus included."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return text
    return ("+" if value > 0 else "−") + text


def telling_digits(values: Iterable[float], borders: Iterable[float], digits: int) -> int:
    """How many digits after the point leave each value on its side of each border when rounded: ``digits`` or more."""
    pairs, most = list(product(values, borders)), 12

    def side(value: float, border: float) -> int:
        return (value > border) - (value < border)

    while digits < most and any(side(v, b) != side(float(f"{v:.{digits}f}"), b) for v, b in pairs):
        digits += 1
    return digits


def p_words(value: float | None) -> str:
    """A p value to three digits, or as many as show on which side of 0.05 it is; a dash for none."""
    if value is None:
        return "–"
    return "< 0.001" if value < 0.001 else f"{value:.{telling_digits([value], [0.05], 3)}f}"
