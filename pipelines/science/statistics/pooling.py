"""Random-effects meta-analysis of a few estimates with known variances. Plain numbers in and out; no tables.

Model: y_i = mu + u_i + e_i, with var e_i = v_i known and var u_i = tau2. Formulas: DerSimonian & Laird 1986, Control
Clin Trials 7:177; restricted likelihood as in Viechtbauer 2005, J Educ Behav Stat 30:261 (formula from memory);
Hartung & Knapp 2001, Stat Med 20:3875; prediction interval Higgins, Thompson & Spiegelhalter 2009, J R Stat Soc A
172:137 (formula from memory; both met by published numbers in the tests).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from schemas.trial import FloatArray

#: Looks at ever smaller ranges around the best point so far; each is a twentieth of the one before.
_LOOKS = 8
TauMethod = Literal["dersimonian_laird", "restricted_likelihood"]
Interval = Literal["hartung_knapp", "normal"]


@dataclass(frozen=True)
class Effect:
    """An estimate with its standard error and the ends of its 95 % confidence interval."""

    estimate: float
    standard_error: float
    lower: float
    upper: float


@dataclass(frozen=True)
class MetaAnalysis:
    """What a meta-analysis says.

    tau2: variance between sites. q: Cochran's Q. i2_percent: 100 tau2 / (tau2 + typical variance within sites).
    """

    effect: Effect
    freedom: float | None  # None for the normal interval
    p_value: float
    tau2: float
    q: float
    i2_percent: float
    prediction: tuple[float, float] | None  # None below 3 estimates


def random_effects(
    estimates: Sequence[float],
    variances: Sequence[float],
    method: TauMethod = "dersimonian_laird",
    interval: Interval = "hartung_knapp",
    *,
    never_shrink: bool = True,
) -> MetaAnalysis:
    """Pool (k,) estimates with (k,) variances, k at least 2.

    The Hartung-Knapp interval multiplies the variance of the mean by q = sum w (y - mu)^2 / (k - 1) and uses t on
    k - 1 degrees of freedom. When the estimates happen to lie close together q falls below 1; with ``never_shrink`` it
    is then taken as 1 (as Knapp & Hartung advised in 2003, from memory; what it costs and gains with few or unequal
    sites: IntHout, Ioannidis & Borm 2014, BMC Med Res Methodol 14:25, and Rover, Knapp & Friede 2015, the same 15:99,
    both from memory). Raises ValueError for fewer than two estimates, or a variance that is not positive.
    """
    y, v = _checked(estimates, variances)
    tau2 = _dersimonian_laird(y, v) if method == "dersimonian_laird" else _restricted_likelihood(y, v)
    mean, variance = _weighted_mean(y, v + tau2)
    used, freedom = variance, None
    if interval == "hartung_knapp":
        freedom = len(y) - 1
        q = float(((y - mean) ** 2 / (v + tau2)).sum()) / freedom
        used = variance * (max(q, 1.0) if never_shrink else q)
    effect, p_value = t_effect(mean, math.sqrt(used), freedom)
    plain = replace(effect, standard_error=math.sqrt(variance))
    prediction = prediction_interval(plain, tau2, len(y)) if len(y) >= 3 else None
    return MetaAnalysis(
        effect,
        freedom,
        p_value,
        tau2,
        cochran_q(y, v),
        100 * tau2 / (tau2 + _typical_variance(v)),
        prediction,
    )


def common_effect(estimates: Sequence[float], variances: Sequence[float]) -> Effect:
    """The pooled estimate if all sites had the same true value: inverse-variance mean, normal interval."""
    mean, variance = _weighted_mean(*_checked(estimates, variances))
    return t_effect(mean, math.sqrt(variance), None)[0]


def cochran_q(estimates: Sequence[float] | FloatArray, variances: Sequence[float] | FloatArray) -> float:
    """Sum of squared distances from the common effect, each over its variance."""
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    mean, _ = _weighted_mean(y, v)
    return float(((y - mean) ** 2 / v).sum())


def restricted_log_likelihood(
    tau2: float | FloatArray, estimates: FloatArray, variances: FloatArray
) -> float | FloatArray:
    """Restricted log likelihood of the variance between sites, less a constant; (m,) for m values of tau2."""
    total = variances + np.asarray(tau2, float)[..., None]
    weights = 1 / total
    whole = weights.sum(axis=-1)
    mean = (weights * estimates).sum(axis=-1) / whole
    squares = (weights * (estimates - mean[..., None]) ** 2).sum(axis=-1)
    likelihood: FloatArray = -0.5 * (np.log(total).sum(axis=-1) + np.log(whole) + squares)
    return likelihood if likelihood.ndim else float(likelihood)


def mean_effect(values: Sequence[float]) -> Effect:
    """Mean of (n,) independent values, n at least 2, t on n - 1 degrees of freedom; of differences: the paired t."""
    y = np.asarray(values, float)
    return t_effect(float(y.mean()), float(y.std(ddof=1)) / math.sqrt(len(y)), len(y) - 1)[0]


def prediction_interval(effect: Effect, tau2: float, sites: int) -> tuple[float, float]:
    """Where 95 % of true values at further sites are expected: t on (3 or more) sites less 2 (Higgins et al. 2009)."""
    reach = upper_point(sites - 2) * math.sqrt(tau2 + effect.standard_error**2)
    return effect.estimate - reach, effect.estimate + reach


def effect_row(effect: Effect | None) -> dict[str, float | None]:
    """An effect as the columns of a table; null without one."""
    names = ("estimate_value", "standard_error_value", "lower_limit_value", "upper_limit_value")
    if effect is None:
        return dict.fromkeys(names)
    return dict(zip(names, (effect.estimate, effect.standard_error, effect.lower, effect.upper), strict=True))


def t_effect(estimate: float, error: float, freedom: float | None) -> tuple[Effect, float]:
    """The 95 % interval of an estimate and its two-sided p: Student's t with ``freedom`` degrees, or normal if None."""
    from scipy.special import ndtr, stdtr

    reach, size = upper_point(freedom) * error, -abs(estimate) / error
    p_value = 2 * float(ndtr(size) if freedom is None else stdtr(freedom, size))
    return Effect(estimate, error, estimate - reach, estimate + reach), p_value


def upper_point(freedom: float | None) -> float:
    """The point that Student's t with ``freedom`` degrees, or the normal if None, exceeds with 2.5 % probability."""
    from scipy.special import ndtri, stdtrit

    return float(ndtri(0.975) if freedom is None else stdtrit(freedom, 0.975))


def _checked(estimates: Sequence[float], variances: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    if len(y) < 2 or y.shape != v.shape:
        raise ValueError(f"at least two estimates, each with its variance, are needed; got {len(y)} and {len(v)}")
    if not (np.isfinite(y).all() and np.isfinite(v).all() and (v > 0).all()):
        raise ValueError("estimates must be finite and variances positive")
    return y, v


def _weighted_mean(y: FloatArray, variances: FloatArray) -> tuple[float, float]:
    weights = 1 / variances
    return float((weights * y).sum() / weights.sum()), float(1 / weights.sum())


def _scale(v: FloatArray) -> float:
    w = 1 / v
    return float(w.sum() - (w**2).sum() / w.sum())


def _typical_variance(v: FloatArray) -> float:
    """Higgins & Thompson's typical variance within sites; with it I2 from DerSimonian-Laird is (Q - (k-1)) / Q."""
    return (len(v) - 1) / _scale(v)


def _dersimonian_laird(y: FloatArray, v: FloatArray) -> float:
    return max(0.0, (cochran_q(y, v) - (len(y) - 1)) / _scale(v))


def _restricted_likelihood(y: FloatArray, v: FloatArray) -> float:
    """The tau2 of highest restricted likelihood: a look at the whole range, then ever closer ones.

    Scoring steps can stop at a lower hill or run off; with so few numbers looking everywhere costs nothing.
    """
    top = 10 * float(y.var(ddof=1)) + 10 * float(v.max())
    points = np.concatenate([[0.0], np.geomspace(1e-9 * top, top, 300)])
    for _ in range(_LOOKS):
        best = int(np.argmax(restricted_log_likelihood(points, y, v)))
        if points[best] == 0.0:
            return 0.0
        points = np.linspace(points[max(best - 1, 0)], points[min(best + 1, len(points) - 1)], 41)
    return float(points[20])


def against_smallest(lower: float | None, upper: float | None, smallest: float | None) -> str | None:
    """Where an interval lies against the smallest effect, as a code; None without either."""
    if smallest is None or lower is None or upper is None:
        return None
    if lower > smallest or upper < -smallest:
        return "matters"
    if -smallest < lower and upper < smallest:
        return "too_small"
    return "is_there" if lower > 0 or upper < 0 else "open"
