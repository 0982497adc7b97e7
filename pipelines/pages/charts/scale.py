"""From values to places in a drawing, and the round numbers that stand at an axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True)
class Scale:
    """A straight scale: ``low`` is drawn at ``start``, ``high`` at ``end``. high is above low."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """The place of a value."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self, about: int, *, whole: bool = False) -> list[float]:
        """Round values within the scale, about as many as asked for: multiples of 1, 2 or 5 times a power of ten.

        whole: whole numbers only.
        """
        step = _round_step((self.high - self.low) / max(about, 1))
        if whole:
            step = max(1.0, step)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [number * step for number in range(first, last + 1)]


def _round_step(step: float) -> float:
    power = 10.0 ** math.floor(math.log10(step))
    # the round number that is nearest as a ratio
    return power * min((1, 2, 5, 10), key=lambda nice: abs(math.log(step / (nice * power))))


def tick_words(ticks: Sequence[float]) -> list[str]:
    """The numbers as they stand at an axis: as many decimals as the step needs, a true minus, commas in thousands."""
    apart = [later - earlier for earlier, later in pairwise(ticks)] or [abs(tick) for tick in ticks]
    step = min(apart, default=1.0) or 1.0
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    return [f"{abs(tick):,.{digits}f}" if round(tick, digits) >= 0 else f"−{-tick:,.{digits}f}" for tick in ticks]


def roomy(numbers: Sequence[float], *, part: float, with_zero: bool = False) -> tuple[float, float]:
    """From the lowest to the highest number, and a part of the span more at either end, never nothing."""
    low, high = (min(numbers), max(numbers)) if numbers else (0.0, 1.0)
    if with_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    room = part * (high - low) or 0.05 * abs(high) or 1.0
    return low - room, high + room
