"""Whether mean difference curves of runners differ from zero anywhere, over the whole curve at once. Arrays in and out.

Paired permutation with the maximum statistic (Nichols & Holmes 2002, Hum Brain Mapp 15:1, formula from memory; met by
the nonparametric tests of spm1d on published sets in the tests): if a condition made no difference, each runner's
difference curve could as well have the other sign. The largest |t| of the curve is taken over all patterns of signs,
or over many drawn at random; what 5 % of them exceed bounds the whole curve at once. Sites are not in it: it is about
runners of these very sites, and too narrow for further sites where sites differ. Signs of whole sites would allow for
that, and reach no p below 2 in 2^sites: 0.25 with three, 0.063 with five. Sites as the unit: ``curve_sites``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from schemas.trial import FloatArray

#: With more patterns of signs than these, so many are drawn.
MOST_PATTERNS = 10_000
#: Fewer runners have too few patterns for any to lie beyond 5 %: 2 of 2^5 are more.
FEWEST_RUNNERS = 6
_LEVEL = 0.05


@dataclass(frozen=True)
class Bounds:
    """What difference curves say at every point at once.

    mean, error, t: (m,), NaN for t where nothing varies. threshold: of |t|, exceeded anywhere with 5 % probability if
    there is no difference. p_value: of the largest |t|.
    """

    mean: FloatArray
    error: FloatArray
    t: FloatArray
    threshold: float
    p_value: float

    @property
    def lower(self) -> FloatArray:
        """(m,) lower end of the band: it holds the whole true curve with about 95 %."""
        return self.mean - self.threshold * self.error

    @property
    def upper(self) -> FloatArray:
        """(m,) upper end of it."""
        return self.mean + self.threshold * self.error

    @property
    def spans(self) -> list[tuple[int, int]]:
        """First and last point of each stretch in which the band leaves out zero."""
        return spans_beyond(self.t, self.threshold)


@dataclass(frozen=True)
class Band(Bounds):
    """The same of (n, m) curves of runners. patterns: of signs; exact: whether these are all."""

    patterns: int
    exact: bool


def spans_beyond(t: FloatArray, threshold: float) -> list[tuple[int, int]]:
    """First and last point of each stretch of (m,) t, NaN where nothing varies, whose |t| exceeds a threshold."""
    beyond = np.concatenate([[False], np.abs(np.nan_to_num(t)) > threshold, [False]])
    starts = np.flatnonzero(beyond[1:] & ~beyond[:-1])
    ends = np.flatnonzero(beyond[:-1] & ~beyond[1:]) - 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def band(differences: FloatArray, most: int = MOST_PATTERNS) -> Band:
    """The band of (n, m) difference curves, one per runner, n at least ``FEWEST_RUNNERS``; raises ValueError for fewer.

    The same curves give the same band: patterns that are drawn at random are drawn from a fixed seed.
    """
    curves = np.asarray(differences, float)
    count = len(curves)
    if count < FEWEST_RUNNERS:
        raise ValueError(f"at least {FEWEST_RUNNERS} runners are needed, got {count}")
    signs, exact = _signs(count, most)
    squares = (curves**2).sum(axis=0)
    every = np.abs(_t(signs @ curves / count, squares, count))
    highest = np.nanmax(np.where(np.isfinite(every), every, 0.0), axis=1)
    mean = curves.mean(axis=0)
    t = _t(mean, squares, count)
    error = np.sqrt(np.maximum(squares / count - mean**2, 0.0) / (count - 1))
    ordered = np.sort(highest)
    threshold = float(ordered[min(int(np.ceil((1 - _LEVEL) * len(ordered))), len(ordered)) - 1])
    largest = float(np.nanmax(np.where(np.isfinite(t), np.abs(t), 0.0)))
    return Band(mean, error, t, threshold, float((highest >= largest * (1 - 1e-12)).mean()), len(signs), exact)


def _t(mean: FloatArray, squares: FloatArray, count: int) -> FloatArray:
    """The paired t of mean curves; the sum of squares is the same whatever the signs."""
    variance = np.maximum(squares / count - mean**2, 0.0) / (count - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        found: FloatArray = np.where(variance > 1e-14 * squares / count, mean / np.sqrt(variance), np.nan)
    return found


def _signs(count: int, most: int) -> tuple[FloatArray, bool]:
    """(p, n) patterns of signs: all, or ``most``, of which the first is that of the data."""
    if 2**count <= most:
        every: FloatArray = 1.0 - 2.0 * ((np.arange(2**count)[:, None] >> np.arange(count)) & 1).astype(float)
        return every, True
    drawn: FloatArray = 1.0 - 2.0 * np.random.default_rng(count).integers(0, 2, (most, count)).astype(float)
    drawn[0] = 1.0
    return drawn, False
