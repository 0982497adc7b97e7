"""Finding the heart in a muscle's signal: one waveform that comes back at even intervals. Registers no check."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.science.muscles.measures import LEVEL_WINDOW_S, Muscle, levels
from pipelines.science.signals.middle import known_median, percentiles
from schemas.trial import FloatArray

#: Own choices: from 60 to 187 beats a minute; the QRS complex has most of its power from 5 to 35 Hz (from memory).
SHORTEST_S, LONGEST_S, STEP_S = 0.32, 1.0, 0.0015
BEAT_HZ = (5.0, 35.0)
#: Own choice: above this frequency a muscle's burst shows and a heartbeat hardly does.
BURST_HZ = 100.0
FEWEST_BEATS = 4
#: An interval told to 1.5 ms keeps step with the heart to about a cell for this long (a dozen beats, 9 ms).
STRETCH_S = 10.0
LIMIT = 5.0
CELL_S = 0.01
#: Own choice: an interval this near to that of steps or strides is movement.
NEAR_A_STEP = 0.08
_TRIED = tuple(np.arange(SHORTEST_S, LONGEST_S, STEP_S).tolist())


@dataclass(frozen=True)
class Heartbeat:
    """What repeats best. share: the part of the slow quiet signal that its other repetitions foretell, at most 1."""

    interval_s: float
    share: float
    size_uv: float
    first_s: float


def heartbeat_in(muscle: Muscle, steps_s: tuple[float, ...]) -> Heartbeat | None:
    """The interval at which the muscle's quiet signal repeats itself best; None if it is too short to tell.

    The signal from 5 to 35 Hz, outside the muscle's bursts, is averaged in cells of 10 ms and laid in rows of one
    interval each. Each cell is foretold by the mean of its column's other cells; ``share`` is 1 less the squared error
    over the squared signal, which is below zero when nothing repeats. Only the first 10 s are looked at. steps_s:
    intervals that are not to be taken; what repeats itself better with them is movement, and its share counts as 0.
    """
    rate = muscle.rate_hz
    longest = min(LONGEST_S, len(muscle.raw) / rate / FEWEST_BEATS)
    if longest <= SHORTEST_S or rate / 2 <= BURST_HZ:
        return None
    slow = np.where(_in_bursts(muscle), np.nan, muscle.within(*BEAT_HZ))  # mains lies above this band
    cells = _cells(slow[: round(STRETCH_S * rate)], rate)
    limit = LIMIT * known_median(np.abs(cells)) if np.isfinite(cells).any() else 0.0
    intervals = _TRIED[: _up(bisect_left(_TRIED, longest))]
    tried = np.array(intervals)
    shares = _shares(cells, limit, intervals)
    allowed = (np.abs(tried[:, None] / np.array(steps_s) - 1) >= NEAR_A_STEP).all(axis=1) & (tried < longest)
    share, interval = -np.inf, np.nan
    for own, at in zip(shares[allowed].tolist(), tried[allowed].tolist(), strict=True):
        if own > share + 0.05:  # the shortest of intervals that serve about as well
            share, interval = own, at
    if not allowed.any():
        return None
    best = Heartbeat(interval, share, 0.0, 0.0)
    locked = max(_shares(cells, limit, steps_s).tolist(), default=-1.0)
    if locked >= best.share:  # movement, which repeats itself at fractions of a stride as well
        return replace(best, share=0.0)
    shape = _waveform(cells, best.interval_s)
    middle = int(np.argmax(np.abs(shape)))
    first_s = muscle.signal.start_s + (middle + 0.5) * CELL_S
    while first_s < 0:
        first_s += best.interval_s
    return replace(best, size_uv=float(np.abs(shape[middle])), first_s=float(first_s))


def _up(count: int) -> int:
    """The next hundred, so that trials of about one length share a matrix."""
    return -(-count // 100) * 100


def _in_bursts(muscle: Muscle) -> NDArray[np.bool_]:
    """(n,) bool: samples in windows whose power above 100 Hz is three times that of quiet ones."""
    fast = levels(muscle.within(BURST_HZ, muscle.band[1]), muscle.rate_hz)
    known = fast[np.isfinite(fast)]
    loud = ~(fast <= 3 * percentiles(known, 20)[0]) if len(known) else np.ones(len(fast), bool)
    length = max(round(LEVEL_WINDOW_S * muscle.rate_hz), 1)
    mask = np.zeros(len(muscle.raw), bool)
    for window in np.flatnonzero(loud):
        start = window * max(length // 2, 1)
        mask[max(start - length, 0) : start + 2 * length] = True
    return mask


def _cells(samples: FloatArray, rate_hz: float) -> FloatArray:
    """(m,) means over 10 ms; NaN for a cell with a missing sample."""
    length = max(round(CELL_S * rate_hz), 1)
    count = len(samples) // length
    return np.asarray(samples[: count * length].reshape(count, length).mean(axis=1))


def _columns(count: int, intervals_s: Sequence[float]) -> NDArray[np.int32]:
    """(count, k): the column of each cell when rows are one of the k intervals long."""
    at = (np.arange(count) + 0.5) * CELL_S
    cells: NDArray[np.int32] = ((at[:, None] % np.array(intervals_s)) / CELL_S).astype(np.int32)
    return cells


@lru_cache(maxsize=8)
def _folding(count: int, intervals_s: tuple[float, ...]) -> tuple[Any, int]:
    """Matrix (k w, count) that sums cells by interval and column, and w, the columns of the longest interval."""
    from scipy.sparse import csc_array

    columns = _columns(count, intervals_s)
    width = int(columns.max()) + 1
    apart = columns + width * np.arange(len(intervals_s), dtype=np.int32)  # no two intervals share a column
    starts = len(intervals_s) * np.arange(count + 1)
    parts = (np.ones(columns.size), apart.ravel(), starts)
    return csc_array(parts, shape=(width * len(intervals_s), count)).tocsr(), width  # read row by row it is quicker


def _shares(cells: FloatArray, limit: float, intervals_s: tuple[float, ...]) -> FloatArray:
    """(k,) how well cells (m,), cut off at ``limit``, foretell each other at these intervals; -1 where too few do.

    With n cells in a column, their sum s and sum of squares q, a cell y is foretold by (s - y) / (n - 1), and the
    squared errors of the column add up to n (n q - s^2) / (n - 1)^2.
    """
    if not len(cells) or not intervals_s:
        return np.full(len(intervals_s), -1.0)
    fold, width = _folding(_up(len(cells)), intervals_s)
    known, y = np.zeros(fold.shape[1]), np.zeros(fold.shape[1])
    known[: len(cells)] = np.isfinite(cells)
    y[: len(cells)] = np.nan_to_num(np.clip(cells, -limit, limit))  # so that one blow does not outweigh the beats
    n, s, q = (fold @ values for values in (known, y, y * y))
    judged = n >= 3
    n, s, q = ((part * judged).reshape(-1, width) for part in (n, s, q))
    left = (n * (n * q - s * s) / (n - 1) ** 2).sum(axis=1)  # of a column that is not judged all three are 0
    counts, squares = n.sum(axis=1), q.sum(axis=1)
    enough = (counts >= len(cells) / 3) & (squares > 0)
    return np.where(enough, 1 - left / np.where(enough, squares, 1.0), -1.0)


def _waveform(cells: FloatArray, interval_s: float) -> FloatArray:
    """(w,) mean of the uncut cells in each column of an interval, of columns with three of them or more; else 0."""
    column = _columns(len(cells), [interval_s])[:, 0]
    width = int(column.max()) + 1
    known = np.isfinite(cells)
    counts = np.bincount(column[known], minlength=width)
    judged = known & (counts[column] >= 3)
    return np.bincount(column[judged], weights=cells[judged], minlength=width) / np.maximum(counts, 1)
