"""Many stretches of one signal at once: which samples they are, sums and means over each. Nothing is interpolated."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray

Spans = NDArray[np.intp]


def spans_of(start_s: FloatArray, end_s: FloatArray, rate_hz: float, first_s: float, count: int) -> Spans:
    """(w, 2) sample from ``start_s`` on, and that from ``end_s`` on; equal where the signal does not cover the time.

    start_s, end_s: (w,) s. The signal has ``count`` samples; sample i stands at ``first_s + i / rate_hz``.
    """
    times = np.stack([np.asarray(start_s, float), np.asarray(end_s, float)], axis=-1).reshape(-1, 2)
    if not rate_hz > 0:
        return np.zeros(times.shape, np.intp)
    places = np.ceil((times - first_s) * rate_hz - 1e-6)
    covered = (places[:, 0] >= 0) & (places[:, 0] < places[:, 1]) & (places[:, 1] <= count)
    return np.where(covered[:, None], places, 0).astype(np.intp)


def sums_over(values: FloatArray, spans: Spans) -> FloatArray:
    """(w,) sum of values (n,) in each span (w, 2); NaN where one is missing or the span is empty."""
    there = spans[:, 0] < spans[:, 1]
    found = np.full(len(spans), np.nan)
    if there.any():
        found[there] = np.add.reduceat(np.append(values, 0.0), spans[there].ravel())[::2]
    return found


def means_over(values: FloatArray, spans: Spans) -> FloatArray:
    """(w,) mean of values (n,) in each span (w, 2); NaN where one is missing or the span is empty."""
    lengths = np.maximum(spans[:, 1] - spans[:, 0], 1)
    means: FloatArray = sums_over(values, spans) / lengths
    return means


def rms_over(values: FloatArray, spans: Spans) -> FloatArray:
    """(w,) root mean square of values (n,) in each span (w, 2); NaN as ``means_over``."""
    return np.sqrt(means_over(values**2, spans))
