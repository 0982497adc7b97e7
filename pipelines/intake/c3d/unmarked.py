"""Positions that a file calls measured and that are none: what writers put where a marker was not seen.

Some write zeros, some -9999 or another number that no laboratory reaches, some what their own origin became. Two things
show it, whatever the number: the marker leaps there and back faster than anything on a body moves, and either stands
there bit for bit still, or at three coordinates that are the same number.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray

#: Own choice, m/s: twice what a foot reaches in a sprint (some 20 m/s, from memory).
FASTEST_M_PER_S = 40.0
#: Own choice, in the file's unit, be it metres: less than any coordinate is known to, and what sums make of a zero.
NOTHING = 1e-5
#: Own choice, m: no leap is less, however often a second a frame is taken.
LEAST_LEAP_M = 0.2
#: Own choice: nobody wears more; a damaged file may count a hundred times as many.
MOST_MARKERS = 1000


def not_positions(points: FloatArray, rate_hz: float, metre: float) -> NDArray[np.bool_]:
    """(f, n) where a position stands for none. points: (f, n, 3) in units of ``metre`` metres, NaN where invalid.

    (0, 0, 0) is one wherever it stands; anything else only where the marker leaps to it or from it, and does
    not come to it or leave it in any other way.
    """
    found = _at_origin(points)
    if len(points) < 2:
        return found
    leap = max(LEAST_LEAP_M, FASTEST_M_PER_S / rate_hz) / metre
    with np.errstate(all="ignore"):
        x = np.ascontiguousarray(points[:, :, 0])
        alike, still = x == points[:, :, 1], x[1:] == x[:-1]
        if alike.any():  # hardly any measured coordinate is the same as another, or as the one before
            alike &= x == points[:, :, 2]
        if still.any():
            still &= (points[1:, :, 1] == points[:-1, :, 1]) & (points[1:, :, 2] == points[:-1, :, 2])
        doubtful = (alike & ~found).any(axis=0) | (still & ~found[1:]).any(axis=0)
        for column in np.flatnonzero(doubtful)[:MOST_MARKERS]:
            found[:, column] |= _of_marker(points[:, column], alike[:, column], still[:, column], leap)
    return found


def _at_origin(points: FloatArray) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = np.abs(points[:, :, 0]) <= NOTHING
    near = np.flatnonzero(found)
    if len(near):  # hardly any measured coordinate is, so that the others are seldom looked at
        found.ravel()[near] = (np.abs(points.reshape(-1, 3)[near]) <= NOTHING).all(axis=1)
    return found


def _of_marker(path: FloatArray, alike: NDArray[np.bool_], still: NDArray[np.bool_], leap: float) -> NDArray[np.bool_]:
    """(f,) the same of one marker. still: (f - 1,) whether it stays to the bit from each frame to the next."""
    count = len(path)
    found = np.zeros(count, bool)
    moved = ~still
    starts = np.concatenate([[0], np.flatnonzero(moved) + 1])
    stops = np.append(starts[1:], count)
    held = ((stops - starts >= 2) | alike[starts]) & np.isfinite(path[starts]).all(axis=1)
    starts, stops = starts[held], stops[held]
    usual = np.nanmedian(path, axis=0)
    there = _ways(path, starts, starts - 1)
    back = _ways(path, starts, stops)
    ways = np.fmin(there, back)
    # within a gap there is nothing to compare with but where the marker usually is
    lone = alike[starts] & np.isnan(ways)
    leaps = np.where(lone, np.linalg.norm(path[starts] - usual, axis=1), ways) > leap
    for start, stop in zip(starts[leaps], stops[leaps], strict=True):
        found[start:stop] = True
    return found


def _ways(path: FloatArray, frames: NDArray[np.intp], others: NDArray[np.intp]) -> FloatArray:
    """From each frame's position to that of another; NaN where there is none."""
    inside = (others >= 0) & (others < len(path))
    ways = np.linalg.norm(path[frames] - path[np.where(inside, others, 0)], axis=1)
    return np.where(inside, ways, np.nan)
