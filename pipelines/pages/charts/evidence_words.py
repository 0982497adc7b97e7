"""Numbers of pictures as they are read: in the size people say, with one minus sign."""

from __future__ import annotations

import math

from checks.evidence import Panel
from pipelines.pages.words import short_unit

THOUSANDTHS = {"s": "ms", "m": "mm"}


def size_words(value: float, unit: str) -> str:
    """ "35 ms", "1.25 s", "−42 mm", "1,240 N": three figures; seconds and metres below 1 as thousandths."""
    if unit in THOUSANDTHS and abs(value) < 1:
        value, unit = 1000 * value, THOUSANDTHS[unit]
    shown = short_unit(unit) if unit not in ("1", "") else ""
    return f"{number_words(value)} {shown}".strip().replace(" °", "°")


def unit_title(unit: str) -> str | None:
    """A unit as it stands at an axis; None for none."""
    return "degrees" if unit == "deg" else short_unit(unit) if unit not in ("1", "") else None


def number_words(value: float) -> str:
    """Three figures, thousands with commas, a true minus."""
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
        return f"at most {size_words(high, panel.counted_in)}"
    if math.isinf(high):
        return f"at least {size_words(low, panel.counted_in)}"
    if low == -high:
        return f"within {size_words(high, panel.counted_in)}"
    return f"{size_words(low, panel.counted_in)} to {size_words(high, panel.counted_in)}"
