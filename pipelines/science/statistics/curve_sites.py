"""Whether mean difference curves differ from zero at further sites like these: sites are the unit, not runners.

Every site is one curve, the mean of its runners', and the t of these curves has sites less 1 degrees of freedom. Sites
of unequal size make that t no larger than it says (Ibragimov & Muller 2010, J Bus Econ Stat 28:453, from memory). What
the largest |t| of a smooth curve exceeds follows from how rough the curves are: the expected Euler characteristic of a
t field on a line (Worsley 1994, Adv Appl Probab 26:13, from memory; met by the thresholds of spm1d on published sets in
the tests), the roughness being the length of the path of the residuals, each point's scaled to one (Taylor & Worsley
2007, J Am Stat Assoc 102:913, from memory). It is taken of the sites and of the runners within them, and the larger one
counts: what sites differ by may be rougher than what runners differ by, and a few sites tell little of that.

How often such bands hold the truth was measured (docs/reference/coverage.md). Runners as the unit: ``curve_bands``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.science.statistics.curve_bands import Bounds
from schemas.trial import FloatArray

#: With three sites |t| would have to reach about 60, with two there is no threshold at all.
FEWEST_SITES = 4
_LEVEL = 0.05
#: A point where residuals are a smaller part of the largest ones does not vary.
_NOTHING = 1e-9


def across_sites(curves: FloatArray, sites: NDArray[Any]) -> Bounds:
    """The band of (n, m) difference curves of different runners at (n,) sites, at least ``FEWEST_SITES`` of them.

    Raises ValueError for fewer, or if the sites' mean curves do not vary.
    """
    curves = np.asarray(curves, float)
    names, at = np.unique(sites, return_inverse=True)
    count = len(names)
    if count < FEWEST_SITES:
        raise ValueError(f"at least {FEWEST_SITES} sites are needed, got {count}")
    means = np.array([curves[at == place].mean(axis=0) for place in range(count)])
    mean = means.mean(axis=0)
    error = means.std(axis=0, ddof=1) / np.sqrt(count)
    if not error.max() > 0:
        raise ValueError("the sites' mean curves do not vary")
    varies = error > _NOTHING * error.max()
    t = np.where(varies, mean / np.where(varies, error, 1.0), np.nan)
    length = max(roughness(means - mean), roughness(curves - means[at]))
    largest = float(np.nanmax(np.abs(t)))
    threshold = highest_t(count - 1, length)
    return Bounds(mean, error, t, threshold, chance_of(largest, count - 1, length))


def roughness(residuals: FloatArray) -> float:
    """Length of the path of (n, m) residuals, each point's scaled to one; 0 where they do not vary."""
    sizes = np.sqrt((residuals**2).sum(axis=0))
    varies = sizes > _NOTHING * sizes.max(initial=0.0)
    path = residuals[:, varies] / sizes[varies]
    return float(np.sqrt((np.diff(path, axis=1) ** 2).sum(axis=0)).sum())


def chance_of(height: float, freedom: int, length: float) -> float:
    """Probability that |t| with ``freedom`` degrees reaches ``height`` anywhere on a curve so long, at most 1."""
    from scipy.special import stdtr

    expected = stdtr(freedom, -height) + length / (2 * np.pi) * (1 + height**2 / freedom) ** (-(freedom - 1) / 2)
    return float(min(2 * expected, 1.0))


def highest_t(freedom: int, length: float) -> float:
    """What |t| with ``freedom`` degrees, at least 2, exceeds anywhere on a curve so long with 5 % probability."""
    from scipy.optimize import brentq

    return float(brentq(lambda height: chance_of(height, freedom, length) - _LEVEL, 0.0, 1e6))
