"""How alike measurements of the same people at several sites are. Arrays in and out; no tables.

Two-way analysis of variance of n runners by k sites: Shrout & Fleiss 1979, Psychol Bull 86:420, their ICC(2,1), sites
as a sample of sites, and ICC(3,1), these sites and no others, with their intervals. Standard error of measurement and
smallest detectable change: Weir 2005, J Strength Cond Res 19:231 (from memory). Limits of agreement with their
intervals: Bland & Altman 1986, Lancet i:307, and 1999, Stat Methods Med Res 8:135 (the latter from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipelines.science.statistics.pooling import upper_point
from schemas.trial import FloatArray

#: A change of 1.96 times the root of two standard errors is beyond chance in 95 % of people who did not change.
_DETECTABLE = 1.96 * math.sqrt(2)


#: Why an absolute agreement below zero has no interval.
BELOW_ZERO = (
    "the estimate is below zero, no sign that runners differ: the degrees of freedom of Shrout & Fleiss's interval are "
    "those of a sum of mean squares of which one then has a weight below zero, and mean nothing"
)


@dataclass(frozen=True)
class WithEnds:
    """A number and the ends of its 95 % interval; None where there is none."""

    value: float
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Reliability:
    """What a table of runners by sites says.

    absolute, consistent: ICC(2,1), without ends where it is below zero, and ICC(3,1).
    site_sd: standard deviation between sites, 0 if estimated below it.
    error: standard error of one measurement at any site; error_within: at one and the same site, as if the sites' own
    differences were known. detectable: smallest detectable change between two measurements at any sites.
    """

    absolute: WithEnds
    consistent: WithEnds
    site_sd: float
    error: float
    error_within: float
    detectable: float


def reliability(values: FloatArray) -> Reliability | None:
    """Of (n, k) values, n runners by k sites, two or more of each; None if runners or what is left do not vary."""
    from scipy.stats import f

    values = np.asarray(values, float)
    n, k = values.shape
    middle = values.mean()
    between = k * float(((values.mean(axis=1) - middle) ** 2).sum()) / (n - 1)
    of_sites = n * float(((values.mean(axis=0) - middle) ** 2).sum()) / (k - 1)
    left = values - values.mean(axis=1, keepdims=True) - values.mean(axis=0) + middle
    rest, freedom = float((left**2).sum()) / ((n - 1) * (k - 1)), (n - 1) * (k - 1)
    if not (rest > 1e-20 * middle**2 and between > 1e-20 * middle**2):
        return None
    consistent = (between - rest) / (between + (k - 1) * rest)
    ratio = between / rest
    low, high = ratio / f.ppf(0.975, n - 1, freedom), ratio * f.ppf(0.975, freedom, n - 1)
    ends = ((low - 1) / (low + k - 1), (high - 1) / (high + k - 1))
    absolute = (between - rest) / (between + (k - 1) * rest + k * (of_sites - rest) / n)
    site_variance = max(0.0, (of_sites - rest) / n)
    error = math.sqrt(site_variance + rest)
    return Reliability(
        WithEnds(
            absolute, *(_absolute_ends(absolute, between, of_sites, rest, n, k) if absolute >= 0 else (None, None))
        ),
        WithEnds(consistent, float(ends[0]), float(ends[1])),
        math.sqrt(site_variance),
        error,
        math.sqrt(rest),
        _DETECTABLE * error,
    )


def _absolute_ends(
    absolute: float, between: float, of_sites: float, rest: float, n: int, k: int
) -> tuple[float, float]:
    """Shrout & Fleiss's interval of ICC(2,1), by Satterthwaite's degrees of freedom of its denominator.

    For an estimate of 0 or more, which it then holds: the degrees of freedom are k - 1 or more, and both points of F
    above 1. The lower end is cut at the least correlation that k values alike can have, -1 / (k - 1).
    """
    from scipy.stats import f

    ratio = of_sites / rest
    share = n * (1 + (k - 1) * absolute) - k * absolute
    freedom = (k - 1) * (n - 1) * (k * absolute * ratio + share) ** 2
    freedom /= (n - 1) * k**2 * absolute**2 * ratio**2 + share**2
    below, above = float(f.ppf(0.975, n - 1, freedom)), float(f.ppf(0.975, freedom, n - 1))
    whole = k * of_sites + (k * n - k - n) * rest
    low = n * (between - below * rest) / (below * whole + n * between)
    return max(low, -1 / (k - 1)), n * (above * between - rest) / (whole + n * above * between)


@dataclass(frozen=True)
class Limits:
    """Bland & Altman's limits of agreement: mean difference, its standard deviation, and where 95 % lie."""

    bias: WithEnds
    sd: float
    low: WithEnds
    high: WithEnds


def limits(differences: FloatArray) -> Limits:
    """Of (n,) differences, two or more, one per runner. A limit's standard error is sd times the root of 3 / n."""
    d = np.asarray(differences, float)
    n = len(d)
    mean, sd, reach = float(d.mean()), float(d.std(ddof=1)), upper_point(n - 1)
    about_mean, about_limit = reach * sd / math.sqrt(n), reach * sd * math.sqrt(3 / n)
    low, high = mean - 1.96 * sd, mean + 1.96 * sd
    return Limits(
        WithEnds(mean, mean - about_mean, mean + about_mean),
        sd,
        WithEnds(low, low - about_limit, low + about_limit),
        WithEnds(high, high - about_limit, high + about_limit),
    )
