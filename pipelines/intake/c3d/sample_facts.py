"""What the stored numbers of a C3D file tell of how they are meant. Judges nothing; see ``SamplesSay``."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipelines.intake.blank_blocks import blank_blocks
from pipelines.intake.c3d.decode import stored_numbers
from pipelines.intake.c3d.layout import Layout
from schemas.self_description import SamplesSay
from schemas.trial import FloatArray

#: Frames that are looked at for the order of samples: enough for a contact, few enough to cost nothing.
_SOME_FRAMES = 300
#: Von Neumann 1941: mean square of the steps by twice the variance, 1 for numbers without order; force is far below.
_SMOOTH = 0.1
_FEWEST_MARKERS = 5
#: Own choices: of a marker's way to the place that fits, at most this part of the way to its own.
_FITS = 0.35
#: Own choice: of a block that a transfer lost, no more points are taken for a displacement.
_MOST_PLACES = 20
#: Own choices: a leap of most markers that is less, in m or by the usual way between two frames, may be anything; and
#: how many leaps are looked at in a file that is nothing but leaps.
_LEAST_LEAP_M, _FAR, _MOST_LEAPS = 0.03, 2.0, 20
#: Own choice: analog channels that are all 0 at once although none of them is as a rule.
_FEWEST_CHANNELS = 3


def samples_say(data: bytes, layout: Layout, points: FloatArray, metre: float) -> SamplesSay:
    """points: (f, n, 3) as decoded, NaN where invalid. metre: metres in their unit."""
    stored = stored_numbers(data, layout)
    analog = stored[:, 4 * layout.counts.points :]
    lowest = highest = None
    leaps = 0, 0
    if layout.storage == "int" and analog.size:
        lowest, highest = int(analog.min()), int(analog.max())
        leaps = _leaps(analog, layout)
    smooth = _smooth(analog, layout)
    return SamplesSay(
        lowest=lowest,
        highest=highest,
        leaps_as_stated=leaps[0],
        leaps_else=leaps[1],
        smooth=smooth[0],
        smooth_else=smooth[1],
        blank=blank_blocks(data, layout.counts.data_start, stored, 4 * layout.counts.points),
        filled_up=_filled_up(stored, 4 * layout.counts.points),
        displaced=_displaced(points, metre),
    )


def _leaps(analog: np.ndarray, layout: Layout) -> tuple[int, int]:
    """Steps of more than half the range, as signed and as unsigned numbers, the file's own way first."""
    if analog.min() >= 0:  # both readings are the same
        return 0, 0
    samples, channels = analog.ravel(), layout.counts.channels  # a channel's next sample stands so much further on
    negative = samples < 0
    # a step is that large only where the sign changes, in one reading or in the other
    places = np.flatnonzero(negative[channels:] != negative[:-channels])
    steps = np.abs(samples[places + channels].astype(np.int32) - samples[places])
    as_signed, as_unsigned = int((steps > 32767).sum()), int((65536 - steps > 32767).sum())
    return (as_unsigned, as_signed) if layout.analog_unsigned else (as_signed, as_unsigned)


def _smooth(analog: np.ndarray, layout: Layout) -> tuple[int, int]:
    """Channels that move by little from sample to sample: in the format's order, and channel by channel in a frame."""
    channels, samples = layout.counts.channels, layout.counts.samples_per_frame
    if channels < 2 or samples < 2 or not len(analog):
        return 0, 0
    first = max(0, (len(analog) - _SOME_FRAMES) // 2)
    some = analog[first : first + _SOME_FRAMES].astype(np.float64)
    other = some.reshape(-1, channels, samples).transpose(0, 2, 1).reshape(-1, channels)
    return _count_smooth(some.reshape(-1, channels)), _count_smooth(other)


def _count_smooth(samples: FloatArray) -> int:
    with np.errstate(all="ignore"):
        steps, spread = (np.diff(samples, axis=0) ** 2).mean(axis=0), samples.var(axis=0)
        return int((np.isfinite(steps) & (spread > 0) & (steps < 2 * _SMOOTH * spread)).sum())


def _filled_up(stored: np.ndarray, points: int) -> int:
    """Frames at the end in which every number is 0, where some analog channels hardly ever are."""
    analog = stored[:, points:]
    if not len(stored) or not analog.shape[1] or stored[-1].any():
        return 0
    alive = int(((analog == 0).mean(axis=0) < 0.5).sum())
    if alive < _FEWEST_CHANNELS:
        return 0
    other = np.flatnonzero(stored.any(axis=1))
    return len(stored) - 1 - int(other[-1]) if len(other) else 0


def _displaced(points: FloatArray, metre: float) -> tuple[int, int] | None:
    """The frame from which on every point goes on where another one stopped, always so many places from it in the file.

    Compared are the frames before and after, since the place where numbers were lost may lie within a frame.
    """
    count = points.shape[1]
    furthest = min(count - 1, _MOST_PLACES)
    if count < _FEWEST_MARKERS or len(points) < 3:
        return None
    with np.errstate(all="ignore"):
        frames = np.arange(0, len(points) - 2, 2)  # one of two neighbours shows any leap
        own = np.zeros(len(points) - 2)
        own[frames] = _usual_ways(points, frames, metre)
        least = max(_LEAST_LEAP_M, _FAR * float(np.median(own[frames])))
        leaps = np.flatnonzero(own > least)
        beside = np.setdiff1d([*(leaps - 1), *(leaps + 1)], [-1, len(own)]).astype(np.intp)
        own[beside] = _usual_ways(points, beside, metre)
        places = np.array([by for by in range(-furthest, furthest + 1) if by])
        for frame in np.argsort(-own, kind="stable")[:_MOST_LEAPS]:
            if own[frame] <= least:
                break
            ways = _ways_from(points[frame], points[frame + 2], places)
            nearest = int(np.argmin(ways))
            if ways[nearest] * metre < _FITS * own[frame]:
                return int(frame) + 2, int(places[nearest])
    return None


def _usual_ways(points: FloatArray, frames: NDArray[np.intp], metre: float) -> FloatArray:
    """(k,) m, the median way of all points from each of the frames to the next but one; 0 where none is known."""
    ways = _medians(_squares(points[frames + 2] - points[frames])) * metre
    return np.where(np.isfinite(ways), ways, 0.0)


def _ways_from(before: FloatArray, after: FloatArray, places: NDArray[np.intp]) -> FloatArray:
    """(k,) the median way of each point from the one so many places further on; infinite where too few are known."""
    count = len(before)
    other = np.arange(count) + places[:, None]
    there = (other >= 0) & (other < count)
    ways = np.where(there, _squares(after - before[np.where(there, other, 0)]), np.nan)
    enough = np.isfinite(ways).sum(axis=1) >= max(_FEWEST_MARKERS, count // 2)
    return np.where(enough, _medians(ways), np.inf)


def _squares(ways: FloatArray) -> FloatArray:
    """(r, n) squared lengths of (r, n, 3)."""
    return np.asarray(np.einsum("rnk,rnk->rn", ways, ways))


def _medians(squares: FloatArray) -> FloatArray:
    """(r,) median length of what is known in each row of squared lengths (r, n); NaN where nothing is."""
    rows, count = squares.shape
    known = np.isfinite(squares)
    if known.all() and count:
        low, high = (count - 1) // 2, count // 2
        middle = np.partition(squares, (low, high), axis=1)[:, (low, high)]
    else:
        counts = known.sum(axis=1)
        ordered = np.sort(np.where(known, squares, np.nan), axis=1)  # what is not known comes last
        places = np.stack([np.maximum(counts - 1, 0) // 2, np.minimum(counts // 2, max(count - 1, 0))], axis=1)
        middle = np.take_along_axis(ordered, places, axis=1) if count else np.full((rows, 2), np.nan)
    return np.asarray(np.sqrt(middle).mean(axis=1))
