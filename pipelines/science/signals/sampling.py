"""Values of a signal between its samples. Sample ``i`` stands at time ``i / rate_hz``; nothing is filtered here."""

from __future__ import annotations

import math

import numpy as np

from schemas.trial import FloatArray


def value_at(samples: FloatArray, rate_hz: float, time_s: float) -> FloatArray:
    """The signal at one time, by linear interpolation: () from (n,), (k,) from (n, k); same unit as ``samples``.

    NaN before the first sample, after the last, and where a neighbour that is needed is NaN: nothing is guessed.
    """
    place, count = float(time_s * rate_hz), len(samples)
    if not math.isfinite(place):
        return np.full(samples.shape[1:], np.nan)
    nearest = round(place)
    if abs(place - nearest) < 1e-6 and 0 <= nearest < count:
        return np.asarray(samples[nearest], float)
    before = math.floor(place)
    if before < 0 or before + 1 >= count:
        return np.full(samples.shape[1:], np.nan)
    share = place - before
    return np.asarray((1 - share) * samples[before] + share * samples[before + 1], float)


def values_at(samples: FloatArray, rate_hz: float, times_s: FloatArray) -> FloatArray:
    """``value_at`` of (n, k) samples at many times (m,): (m, k)."""
    place, count = np.asarray(times_s, float) * rate_hz, len(samples)
    found = np.full((len(place), *samples.shape[1:]), np.nan)
    nearest, before = np.rint(place), np.floor(place)
    with np.errstate(invalid="ignore"):
        on = (np.abs(place - nearest) < 1e-6) & (nearest >= 0) & (nearest < count)
        between = ~on & (before >= 0) & (before + 1 < count)
    first = before[between].astype(int)
    share = (place[between] - first)[:, None]
    found[on] = samples[nearest[on].astype(int)]
    found[between] = (1 - share) * samples[first] + share * samples[first + 1]
    return found


def stretch(samples: FloatArray, rate_hz: float, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
    """The signal from ``start_s`` to ``end_s`` with both ends interpolated: times (m,) s and values (m,) or (m, k).

    Times stay on the clock of the recording. The two ends are always there, with the samples strictly between them.
    """
    first = int(np.floor(start_s * rate_hz + 1e-6)) + 1
    last = int(np.ceil(end_s * rate_hz - 1e-6)) - 1
    inner = samples[first : last + 1] if last >= first else samples[:0]
    times = np.concatenate([[start_s], (first + np.arange(len(inner))) / rate_hz, [end_s]])
    ends = [value_at(samples, rate_hz, at)[None] for at in (start_s, end_s)]
    return times, np.concatenate([ends[0], inner, ends[1]])


def integral(times_s: FloatArray, values: FloatArray) -> float:
    """Trapezoid rule over (m,) times in s and values; unit of the values times s. NaN if any value is NaN."""
    return float((times_s[1:] - times_s[:-1]) @ (values[1:] + values[:-1])) / 2
