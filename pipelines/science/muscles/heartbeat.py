"""Finding the heart in a muscle's signal: one waveform that comes back at even intervals. Registers no check."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.science.muscles.measures import LEVEL_WINDOW_S, Muscle, levels, within
from schemas.trial import FloatArray

#: Own choices: from 60 to 187 beats a minute; the QRS complex has most of its power from 5 to 35 Hz (from memory).
SHORTEST_S, LONGEST_S, STEP_S = 0.32, 1.0, 0.0015
BEAT_HZ = (5.0, 35.0)
#: Own choice: above this frequency a muscle's burst shows and a heartbeat hardly does.
BURST_HZ = 100.0
FEWEST_BEATS = 4
LIMIT = 5.0
CELL_S = 0.01
#: Own choice: an interval this near to that of steps or strides is movement.
NEAR_A_STEP = 0.08


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
    over the squared signal, which is below zero when nothing repeats. steps_s: intervals that are not to be
    taken; what repeats itself better with them is movement, and its share counts as 0.
    """
    rate = muscle.rate_hz
    duration = len(muscle.raw) / rate
    longest = min(LONGEST_S, duration / FEWEST_BEATS)
    if longest <= SHORTEST_S or rate / 2 <= BURST_HZ:
        return None
    slow = np.where(_in_bursts(muscle), np.nan, within(muscle.raw, rate, *BEAT_HZ))  # mains lies above this band
    cells = _cells(slow, rate)
    limit = LIMIT * float(np.nanmedian(np.abs(cells))) if np.isfinite(cells).any() else 0.0
    best: Heartbeat | None = None
    for interval in np.arange(SHORTEST_S, longest, STEP_S):
        if any(abs(interval / step - 1) < NEAR_A_STEP for step in steps_s):
            continue
        share, shape = _repeats(cells, limit, interval)
        if best is None or share > best.share + 0.05:  # the shortest of intervals that serve about as well
            middle = int(np.argmax(np.abs(shape)))
            first_s = muscle.signal.start_s + (middle + 0.5) * CELL_S
            while first_s < 0:
                first_s += interval
            best = Heartbeat(float(interval), share, float(np.abs(shape[middle])), float(first_s))
    locked = max((_repeats(cells, limit, step)[0] for step in steps_s), default=-1.0)
    if best is not None and locked >= best.share:  # movement, which repeats itself at fractions of a stride as well
        return replace(best, share=0.0)
    return best


def _in_bursts(muscle: Muscle) -> NDArray[np.bool_]:
    """(n,) bool: samples in windows whose power above 100 Hz is three times that of quiet ones."""
    fast = levels(within(muscle.raw, muscle.rate_hz, BURST_HZ, muscle.band[1]), muscle.rate_hz)
    known = fast[np.isfinite(fast)]
    loud = ~(fast <= 3 * np.percentile(known, 20)) if len(known) else np.ones(len(fast), bool)
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


def _repeats(cells: FloatArray, limit: float, interval_s: float) -> tuple[float, FloatArray]:
    """How well cells, cut off at ``limit``, foretell each other at this interval, and the uncut waveform over it."""
    at = (np.arange(len(cells)) + 0.5) * CELL_S
    column = ((at % interval_s) / CELL_S).astype(int)
    known = np.isfinite(cells)
    width = int(column.max()) + 1
    counts = np.bincount(column[known], minlength=width)
    judged = known & (counts[column] >= 3)
    own = column[judged]
    y = np.clip(cells[judged], -limit, limit)  # so that one blow, or the rest of one burst, does not outweigh the beats
    power = float(np.sum(y**2))
    if len(y) < len(cells) / 3 or power <= 0:
        return -1.0, np.zeros(width)
    foretold = (np.bincount(own, weights=y, minlength=width)[own] - y) / (counts[own] - 1)
    shape = np.bincount(own, weights=cells[judged], minlength=width) / np.maximum(counts, 1)
    return 1 - float(np.sum((y - foretold) ** 2)) / power, shape
