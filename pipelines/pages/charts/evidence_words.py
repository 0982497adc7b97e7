"""Numbers of pictures as they are read: three figures, in one size for all of a drawing, with one minus sign."""

from __future__ import annotations

import math
from collections.abc import Iterable

from checks.evidence import Panel
from pipelines.pages.words import short_unit

#: What a unit's numbers are said in where all of them are below so many of it.
_SMALLER = {"s": (10.0, "ms"), "m": (10.0, "mm"), "V": (1.0, "mV"), "mV": (1.0, "uV")}


def said_in(unit: str, numbers: Iterable[float]) -> tuple[float, str]:
    """By what numbers of a unit are multiplied to be said together, and the unit that they then have.

    Lengths and times in thousandths below 10 m and 10 s, so that a number and its limit have one unit.
    """
    sizes = [abs(number) for number in numbers if math.isfinite(number)]
    most, factor = max(sizes, default=0.0), 1.0
    while most and unit in _SMALLER and most * factor < _SMALLER[unit][0]:
        factor, unit = 1000 * factor, _SMALLER[unit][1]
    return factor, unit


def size_words(value: float, unit: str) -> str:
    """A number and its UCUM unit, as they are: "35.2 ms", "−42 mm", "8,199 N", "12°"."""
    shown = short_unit(unit) if unit not in ("1", "") else ""
    return f"{number_words(value)} {shown}".strip().replace(" °", "°")


def panel_words(panel: Panel, value: float) -> str:
    """A number of a panel, in the unit that its numbers and its limit are said in."""
    factor, unit = said_in(panel.counted_in, [*panel.numbers, *(panel.expected or ())])
    return size_words(factor * value, unit)


def unit_title(unit: str) -> str | None:
    """A unit as it stands at an axis; None for none."""
    return "degrees" if unit == "deg" else short_unit(unit) if unit not in ("1", "") else None


def number_words(value: float) -> str:
    """Three figures, thousands with commas, a true minus, and none before a zero."""
    if not math.isfinite(value):
        return "–"
    size = abs(value)
    digits = 0 if size >= 100 or size == 0 else max(0, 2 - math.floor(math.log10(size)))
    text = f"{size:,.{min(digits, 6)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"−{text}" if value < 0 and text != "0" else text


def expected_words(panel: Panel) -> str:
    """ "at most 450 ms", "at least 6", "100 ms to 450 ms"; empty where nothing is expected."""
    if panel.expected is None:
        return ""
    low, high = panel.expected
    if math.isinf(low):
        return f"at most {panel_words(panel, high)}"
    if math.isinf(high):
        return f"at least {panel_words(panel, low)}"
    if low == -high:
        return f"within {panel_words(panel, high)}"
    return f"{panel_words(panel, low)} to {panel_words(panel, high)}"
