"""What a table of channels says of an amplifier's gain. Reading files and judging gains is done elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass

#: What stands in a table where nobody knows the gain any more.
UNKNOWN = "unknown"


@dataclass(frozen=True)
class Gain:
    """A ratio of voltages, output over input. in_decibels: it was stated as 20 log10 of it."""

    ratio: float
    in_decibels: bool


def is_unknown(text: str | None) -> bool:
    """Whether a cell says that the gain is not known, in so many words; a blank one says that it is 1."""
    return (text or "").strip().casefold() == UNKNOWN


def gain_of(text: str | None) -> Gain | None:
    """The gain a cell states: a plain positive number, or any number followed by dB; nothing stated is 1.

    None where it cannot be told: the word unknown, zero, below zero, not a number, words, or a unit without a number.
    """
    stated = (text or "").strip()
    in_decibels = stated.lower().endswith("db")
    try:
        number = float(stated[:-2] if in_decibels else stated or 1)
        ratio = 10 ** (number / 20) if in_decibels else number
    except (ValueError, OverflowError):
        return None
    return Gain(ratio, in_decibels) if math.isfinite(ratio) and ratio > 0 else None
