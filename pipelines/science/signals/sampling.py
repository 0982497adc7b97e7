"""Values of a signal between its samples. Sample ``i`` stands at time ``i / rate_hz``; nothing is filtered here."""

from __future__ import annotations

import numpy as np

from schemas.trial import FloatArray


def value_at(samples: FloatArray, rate_hz: float, time_s: float) -> FloatArray:
    """The signal at one time, by linear interpolation: () from (n,), (k,) from (n, k); same unit as ``samples``.

    NaN before the first sample, after the last, and where a neighbour that is needed is NaN: nothing is guessed.
    """
    missing = np.full(samples.shape[1:], np.nan)
    place = time_s * rate_hz
    if not np.isfinite(place) or len(samples) == 0:
        return missing
    nearest = round(place)
    if abs(place - nearest) < 1e-6 and 0 <= nearest < len(samples):
        return np.asarray(samples[nearest], float)
    before = int(np.floor(place))
    if before < 0 or before + 1 >= len(samples):
        return missing
    share = place - before
    return np.asarray((1 - share) * samples[before] + share * samples[before + 1], float)


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
