"""How many runners and sites a study needs to find a difference. Plain numbers in and out.

With as many runners at each site, and nobody at two, the one-stage model's interval is Student's t of the sites' means
on sites less 1 degrees of freedom, whatever the variances (``one_stage``); so its power is that of the noncentral t.
More runners at a site make the mean of that site surer and the sites no more alike: only more sites help against that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from schemas.trial import FloatArray

#: More runners at one site are not looked for.
MOST_RUNNERS = 1000


@dataclass(frozen=True)
class Components:
    """Standard deviations of the true difference between sites, and of one runner's difference at a site."""

    between_sites: float
    of_runner: float


def power(effect: float, components: Components, sites: int, runners: float, alpha: float = 0.05) -> float:
    """Probability that the two-sided test finds a true mean difference ``effect``. runners: at each site.

    With a single site it is that of the paired t-test, which says nothing of other sites. Raises ValueError where
    there are no degrees of freedom or nothing varies.
    """
    from scipy.special import stdtrit

    variance = components.of_runner**2 / runners
    freedom = runners - 1.0
    if sites > 1:
        variance, freedom = (components.between_sites**2 + variance) / sites, sites - 1.0
    if freedom <= 0 or not variance > 0:
        raise ValueError("power needs at least two sites or two runners, and something that varies")
    point, far = float(stdtrit(freedom, 1 - alpha / 2)), abs(effect) / math.sqrt(variance)
    return 1.0 - _within(point, far, freedom)


@cache
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Places and weights of Gauss and Legendre, from -1 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    return nodes, weights


def _within(point: float, far: float, freedom: float) -> float:
    """Probability that the noncentral t lies between -point and point.

    The normal is integrated over the chi distribution of the estimated error: scipy's own noncentral t has no value in
    places where a study can be (nctdtr(4, 8.3666, -2.7764) is NaN in scipy 1.17.1).
    """
    from scipy.special import chdtri, gammaln, ndtr

    nodes, weights = _nodes()
    most = math.sqrt(float(chdtri(freedom, 1e-13)) / freedom)
    errors = most * (nodes + 1) / 2
    half = freedom / 2
    density = np.exp(
        math.log(2) + half * math.log(half) - float(gammaln(half)) + (freedom - 1) * np.log(errors) - half * errors**2
    )
    inside = ndtr(point * errors - far) - ndtr(-point * errors - far)
    return float(np.clip((weights * most / 2 * density * inside).sum(), 0.0, 1.0))


def runners_needed(
    effect: float, components: Components, sites: int, aim: float, alpha: float = 0.05, most: int = MOST_RUNNERS
) -> int | None:
    """Fewest runners, two or more, at each of so many sites with the power ``aim``; None if ``most`` are too few."""
    low, high = 2, most
    if power(effect, components, sites, high, alpha) < aim:
        return None
    while low < high:
        middle = (low + high) // 2
        if power(effect, components, sites, middle, alpha) >= aim:
            high = middle
        else:
            low = middle + 1
    return low
