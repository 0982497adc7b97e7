"""Medians and percentiles of short signals: what numpy gives, without preparations that cost more than the answer.

A trial is asked for hundreds of them, each of some hundred samples. Means are numpy's own.
"""

from __future__ import annotations

import numpy as np

from schemas.trial import FloatArray


def median(values: FloatArray) -> float:
    """Of (n,) numbers, none of them NaN, in their unit; NaN without any."""
    count = len(values)
    if count == 0:
        return float("nan")
    half = count // 2
    if count % 2:
        return float(np.partition(values, half)[half])
    ordered = np.partition(values, (half - 1, half))
    return float((ordered[half - 1] + ordered[half]) / 2)


def known_median(values: FloatArray) -> float:
    """The same of those of (n,) numbers that are not NaN."""
    return median(values[~np.isnan(values)])


def percentiles(values: FloatArray, *percents: float) -> tuple[float, ...]:
    """One value for each of ``percents`` (0 to 100) of (n,) numbers, none of them NaN; NaN without any.

    Linear between the two nearest by rank (definition 7 of Hyndman & Fan 1996, Am Stat 50:361, from memory), which is
    numpy's own choice.
    """
    count = len(values)
    if count == 0:
        return (float("nan"),) * len(percents)
    places = [percent / 100 * (count - 1) for percent in percents]
    below = [int(place) for place in places]
    ordered = np.partition(values, sorted({rank for low in below for rank in (low, min(low + 1, count - 1))}))
    found = []
    for place, low in zip(places, below, strict=True):
        a, b, share = float(ordered[low]), float(ordered[min(low + 1, count - 1)]), place - low
        found.append(a + (b - a) * share if share < 0.5 else b - (b - a) * (1 - share))
    return tuple(found)


def of_columns(values: FloatArray, *percents: float) -> FloatArray:
    """(percents, k) the same of each column of (n, k) numbers, of those in it that are finite; NaN where none is."""
    values = np.where(np.isfinite(values), values, np.nan)
    if not values.size:
        return np.full((len(percents), values.shape[1]), np.nan)
    ordered = np.sort(values, axis=0)  # NaN last
    last = np.count_nonzero(~np.isnan(values), axis=0) - 1
    places = np.asarray(percents)[:, None] / 100 * np.maximum(last, 0)
    low = places.astype(int)
    a, b = (np.take_along_axis(ordered, rank, axis=0) for rank in (low, np.minimum(low + 1, np.maximum(last, 0))))
    share = places - low
    found: FloatArray = np.where(share < 0.5, a + (b - a) * share, b - (b - a) * (1 - share))
    return found
