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
    known = np.isfinite(values)
    if not known.all():
        one_by_one = [percentiles(column[there], *percents) for column, there in zip(values.T, known.T, strict=True)]
        return np.array(one_by_one, float).reshape(-1, len(percents)).T
    count = len(values)
    if count == 0:
        return np.full((len(percents), values.shape[1]), np.nan)
    places = np.asarray(percents) / 100 * (count - 1)
    low = places.astype(int)
    high = np.minimum(low + 1, count - 1)
    rows = np.ascontiguousarray(values.T)
    rows.partition(sorted({*low.tolist(), *high.tolist()}), axis=1)
    a, b, share = rows[:, low], rows[:, high], places - low
    found: FloatArray = np.where(share < 0.5, a + (b - a) * share, b - (b - a) * (1 - share)).T
    return found
