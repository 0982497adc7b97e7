"""How many runners and sites a study needs to find a difference. Plain numbers in and out.

With as many runners at each site, and nobody at two, the one-stage model's interval is Student's t on sites less 1
degrees of freedom; its error is that of the sites' means, or where these lie closer together than runners within sites
have them, that of all runners, as if sites did not differ (``one_stage``). So its power is that of the noncentral t,
less what the wider error takes. More runners at a site make the mean of that site surer and the sites no more alike:
only more sites help against that.
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

    variance, freedom, within = components.of_runner**2 / runners, runners - 1.0, 0.0
    if sites > 1:
        within, freedom = variance, sites - 1.0
        variance = (components.between_sites**2 + variance) / sites
    if freedom <= 0 or not variance > 0:
        raise ValueError("power needs at least two sites or two runners, and something that varies")
    point, far = float(stdtrit(freedom, 1 - alpha / 2)), abs(effect) / math.sqrt(variance)
    return 1.0 - _within(point, far, freedom, within / (variance * sites), sites * (runners - 1.0))


@cache
def _nodes(count: int) -> tuple[FloatArray, FloatArray]:
    """Places and weights of Gauss and Legendre, from -1 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _errors(freedom: float, count: int) -> tuple[FloatArray, FloatArray]:
    """An estimated standard deviation over the true one, and the weight of each: the chi distribution."""
    from scipy.special import chdtri, gammaln

    nodes, weights = _nodes(count)
    low, high = (math.sqrt(float(chdtri(freedom, part)) / freedom) for part in (1 - 1e-13, 1e-13))
    errors = low + (high - low) * (nodes + 1) / 2
    half = freedom / 2
    density = np.exp(
        math.log(2) + half * math.log(half) - float(gammaln(half)) + (freedom - 1) * np.log(errors) - half * errors**2
    )
    return errors, weights * (high - low) / 2 * density


def _within(point: float, far: float, freedom: float, runners_part: float, of_runners: float) -> float:
    """Probability that the estimate lies within ``point`` of its estimated errors from zero.

    runners_part: of the variance of a site's mean, what runners are of it; 0 for one site. of_runners: degrees of
    freedom of runners within sites.

    The normal is integrated over the chi distributions of the estimated errors: scipy's own noncentral t has no value
    in places where a study can be (nctdtr(4, 8.3666, -2.7764) is NaN in scipy 1.17.1).
    """
    from scipy.special import ndtr

    between, weights = _errors(freedom, 400)
    squares, both = between**2, weights
    if runners_part > 0 and of_runners > 0:
        within, of_within = _errors(of_runners, 60)
        own, all_runners = runners_part * within[:, None] ** 2, freedom + of_runners
        squares = np.where(squares < own, (freedom * squares + of_runners * own) / all_runners, squares)
        both = weights * of_within[:, None]
    errors = np.sqrt(squares)
    inside = ndtr(point * errors - far) - ndtr(-point * errors - far)
    return float(np.clip((both * inside).sum(), 0.0, 1.0))


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
