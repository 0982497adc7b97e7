"""Linear mixed models with random effects in groups and, if asked for, in units nested in them. No tables here.

The fit is statsmodels'; this module puts values on a common scale first, so that seconds and newtons converge alike,
and turns every way of failing into None.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray

#: The best of the first two counts: the one that follows the slope is precise, but where a variance is zero there is no
#: slope to follow and it gives up or stops short; the other finds zero. The third is asked if neither ends.
_OPTIMISERS = (("bfgs", "powell"), ("nm",))


@dataclass(frozen=True)
class MixedFit:
    """A fitted model: values = fixed . estimates + group's random effects + nested unit's intercept + residual.

    estimates, errors: (p,). group_covariance: (q, q). nested_variance: None without nested units.
    """

    estimates: FloatArray
    errors: FloatArray
    group_covariance: FloatArray
    nested_variance: float | None
    residual_variance: float
    minus_two_log_likelihood: float


def fit_mixed(
    values: FloatArray,
    fixed: FloatArray,
    groups: NDArray[Any],
    *,
    random: FloatArray | None = None,
    nested: NDArray[Any] | None = None,
    restricted: bool = True,
) -> MixedFit | None:
    """Fit by restricted (or full) likelihood; None where the fit does not converge or the values do not vary.

    values: (n,). fixed: (n, p), its column of ones included. groups: (n,) labels. random: (n, q) columns whose
    coefficients vary between groups, an intercept if left out. nested: (n,) labels of units within groups, each with
    an intercept of its own. A variance of zero is a legitimate answer, not a failure.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM  # type: ignore[import-untyped]

    values, fixed = np.asarray(values, float), np.asarray(fixed, float)
    ordinary, *_ = np.linalg.lstsq(fixed, values, rcond=None)
    rest = values - fixed @ ordinary
    scale = float(rest.std())
    if not scale > 1e-12 * max(float(np.abs(values).max()), 1e-300):
        return None
    random = np.ones((len(values), 1)) if random is None else np.asarray(random, float)
    parts = None if nested is None else _nested(np.asarray(groups), np.asarray(nested))
    model = MixedLM(rest / scale, fixed, groups=groups, exog_re=random, exog_vc=parts)
    result = _best(model, restricted)
    if result is None:
        return None
    freedom = len(values) - (fixed.shape[1] if restricted else 0)
    return MixedFit(
        ordinary + scale * np.asarray(result.fe_params, float),
        scale * np.asarray(result.bse_fe, float),
        scale**2 * np.asarray(result.cov_re, float),
        None if nested is None else scale**2 * float(result.vcomp[0]),
        scale**2 * float(result.scale),
        -2 * float(result.llf) + 2 * freedom * float(np.log(scale)),
    )


def _best(model: Any, restricted: bool) -> Any:
    """The converged result of the highest likelihood; None if there is none."""
    for optimisers in _OPTIMISERS:
        results = [r for name in optimisers if (r := _attempt(model, restricted, name)) is not None]
        if results:
            return max(results, key=lambda result: float(result.llf))
    return None


def _attempt(model: Any, restricted: bool, optimiser: str) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # on the way, and at a variance of zero, the library warns; the end is judged
        try:
            result = model.fit(reml=restricted, method=optimiser)
            errors = np.asarray(result.bse_fe, float)
        except (np.linalg.LinAlgError, ValueError):
            return None
    sound = bool(result.converged) and bool(np.isfinite(errors).all()) and bool((errors > 0).all())
    return result if sound and np.isfinite(result.llf) else None


def _nested(groups: NDArray[Any], nested: NDArray[Any]) -> Any:
    """The nested units' indicator columns, group by group in the order in which statsmodels takes the groups."""
    from statsmodels.regression.mixed_linear_model import VCSpec

    names, columns = [], []
    for group in np.unique(groups):
        own = nested[groups == group]
        units = np.unique(own)
        names.append([str(unit) for unit in units])
        columns.append((own[:, None] == units[None, :]).astype(float))
    return VCSpec(["nested"], [names], [columns])
