"""How hard the shin is stopped at landing: peak acceleration along the tibia, from an accelerometer worn on it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pipelines.science.signals.filters import low_pass
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import FloatArray, Signal

ROLE = "tibial_accelerometer"
#: Unit of a channel -> how many of it are one standard gravity.
_PER_G = {"[g]": 1.0, "m/s2": STANDARD_GRAVITY}


class Shin:
    """The accelerometer of one side. What is faster than ``cutoff_hz`` is taken out, and so is the mean of the trial.

    Over whole strides the shin goes on at a steady speed, so that the mean is what gravity makes the sensor read.
    """

    def __init__(self, signal: Signal, cutoff_hz: float, order: int) -> None:
        smooth = low_pass(signal.samples, signal.rate_hz, cutoff_hz, order) / _PER_G[signal.unit]
        known = smooth[np.isfinite(smooth)]
        self._start_s, self._rate_hz = signal.start_s, signal.rate_hz
        self.acceleration: FloatArray = smooth - (known.mean() if len(known) else math.nan)

    def peak(self, contact_s: float, lasts_s: float) -> float | None:
        """Largest acceleration of either direction from contact on, in g; null where a sample is missing.

        Of either direction, since sensors are worn both ways up; in that time the impact is by far the largest.
        """
        first = math.ceil((contact_s - self._start_s) * self._rate_hz)
        stop = math.floor((contact_s + lasts_s - self._start_s) * self._rate_hz) + 1
        during = self.acceleration[first:stop] if 0 <= first < stop <= len(self.acceleration) else self.acceleration[:0]
        return float(np.abs(during).max()) if len(during) and np.isfinite(during).all() else None


def shins(signals: Sequence[Signal], cutoff_hz: float, order: int) -> dict[str, Shin]:
    """Side -> its accelerometer, the first of several; none of unknown unit, or sampled too slowly for the cut-off."""
    found: dict[str, Shin] = {}
    for signal in signals:
        fits = signal.role == ROLE and signal.unit in _PER_G and signal.rate_hz > 2 * cutoff_hz
        if fits and signal.side is not None and len(signal.samples):
            found.setdefault(signal.side, Shin(signal, cutoff_hz, order))
    return found
