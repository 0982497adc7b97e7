"""Linear mixed models with random effects in groups; and the one that pairs of values in groups need. No tables here.

For a given ratio of the random variances to the residual one, the coefficients and the residual variance that maximise
the likelihood are known; what is left is a search over these few ratios (Bates et al. 2015, J Stat Softw 67(1): their
profiled deviance and REML criterion, there with the factor of the random covariance as here). The data enter as sums of
products made once, so that a step of the search does not grow with the number of values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray

#: A ratio of variances r is searched as log(1 + r), whose slope at zero, the edge of what is possible, is not zero.
#: Up to r of 1e10: beyond it the residual variance is lost in the rounding of the sums.
_FURTHEST = 23.0
_LOOKS, _POINTS = 7, 41


@dataclass(frozen=True)
class MixedFit:
    """A fitted model: values = fixed . estimates + group's random effects + residual.

    estimates, errors: (p,). group_covariance: (q, q).
    """

    estimates: FloatArray
    errors: FloatArray
    group_covariance: FloatArray
    residual_variance: float
    minus_two_log_likelihood: float


@dataclass(frozen=True)
class Difference:
    """How the second of two conditions differs from the first, with its standard error."""

    estimate: float
    error: float


def fit_pairs(first: FloatArray, second: FloatArray, groups: NDArray[Any]) -> Difference | None:
    """The fit by restricted likelihood of: value = condition + group's intercept + unit's intercept + residual.

    first, second: (n,) values of n units, each in both conditions. groups: (n,) labels; with a single label the group
    has no intercept. None where there is no fit.

    With complete pairs the likelihood falls apart into that of the differences, which vary with twice the residual
    variance, and that of the sums, whose variance within groups is as much plus four times the unit's. Each is greatest
    by itself, and both stand together unless the sums would vary less than the differences. The unit's variance is then
    zero, and what remains is a model with the group's intercept alone.
    """
    first, second = np.asarray(first, float), np.asarray(second, float)
    n, sums = len(first), first + second
    differences = second - first
    estimate = float(differences.mean())
    squares = float(((differences - estimate) ** 2).sum())
    if n < 2 or not squares > 0:
        return None
    if squares > _squares_within(sums, groups):  # else the sums vary more, whatever the variance between groups
        ones = np.ones((n, 1))
        several = len(np.unique(groups)) > 1
        alone = fit_mixed(sums, ones, groups) if several else None
        of_sums = alone.residual_variance if alone else float(sums.var(ddof=1))
        if of_sums < squares / (n - 1):
            if not several:
                residual = (squares + float(((sums - sums.mean()) ** 2).sum())) / (2 * n - 2)
                return Difference(estimate, float(np.sqrt(residual / n)))
            values = np.concatenate([first, second])
            fixed = np.column_stack([np.ones(2 * n), np.repeat([0.0, 1.0], n)])
            fit = fit_mixed(values, fixed, np.tile(groups, 2))
            return Difference(float(fit.estimates[1]), float(fit.errors[1])) if fit else None
    return Difference(estimate, float(np.sqrt(squares / (n - 1) / n)))


def _squares_within(values: FloatArray, groups: NDArray[Any]) -> float:
    """Sum of squares about the groups' own means."""
    _, places = np.unique(groups, return_inverse=True)
    means = np.bincount(places, values) / np.bincount(places)
    return float(((values - means[places]) ** 2).sum())


def fit_mixed(
    values: FloatArray,
    fixed: FloatArray,
    groups: NDArray[Any],
    *,
    random: FloatArray | None = None,
    restricted: bool = True,
) -> MixedFit | None:
    """Fit by restricted (or full) likelihood; None where the search finds no maximum or the values do not vary.

    values: (n,). fixed: (n, p), its column of ones included. groups: (n,) labels. random: (n, q) columns whose
    coefficients vary between groups, an intercept if left out. A variance of zero is a legitimate answer, not a
    failure.
    """
    values, fixed = np.asarray(values, float), np.asarray(fixed, float)
    ordinary, *_ = np.linalg.lstsq(fixed, values, rcond=None)
    rest = values - fixed @ ordinary
    scale = float(rest.std())
    if not scale > 1e-12 * max(float(np.abs(values).max()), 1e-300):
        return None
    random = np.ones((len(values), 1)) if random is None else np.asarray(random, float)
    model = _Model.of(rest / scale, fixed, random, np.asarray(groups), restricted)
    factor = model.search()
    if factor is None:
        return None
    solved = model.solve(factor)
    residual = float(solved.squares) / model.freedom
    errors = np.sqrt(residual * np.diag(np.linalg.inv(solved.information)))
    return MixedFit(
        ordinary + scale * solved.estimates,
        scale * errors,
        scale**2 * residual * factor @ factor.T,
        scale**2 * residual,
        float(model.criterion(solved)) + 2 * model.freedom * float(np.log(scale)),
    )


@dataclass(frozen=True)
class _Solved:
    """Generalised least squares for one or (..., ) many factors.

    estimates (..., p), information (..., p, p), squares (...): the weighted residual sum, log_spread (...): log of the
    determinant of the values' relative covariance.
    """

    estimates: FloatArray
    information: FloatArray
    squares: FloatArray
    log_spread: FloatArray


@dataclass(frozen=True)
class _Model:
    """products: (groups, m, m) sums of products of the columns (random, fixed, value) in each group, m of them."""

    products: FloatArray
    q: int
    freedom: int
    restricted: bool

    @staticmethod
    def of(rest: FloatArray, fixed: FloatArray, random: FloatArray, groups: NDArray[Any], restricted: bool) -> _Model:
        columns = np.column_stack([random, fixed, rest])
        order = np.argsort(groups, kind="stable")
        _, starts = np.unique(groups[order], return_index=True)
        products = np.array([own.T @ own for own in np.split(columns[order], starts[1:])])
        return _Model(products, random.shape[1], len(rest) - restricted * fixed.shape[1], restricted)

    def solve(self, factor: FloatArray) -> _Solved:
        """factor: (..., q, q), that of the random effects' covariance relative to the residual variance."""
        q, factor = self.q, factor[..., None, :, :]
        across = factor.swapaxes(-1, -2)
        inner = across @ self.products[:, :q, :q] @ factor + np.eye(q)
        aside = across @ self.products[:, :q, q:]
        total = (self.products[:, q:, q:] - aside.swapaxes(-1, -2) @ np.linalg.solve(inner, aside)).sum(axis=-3)
        information, with_values = total[..., :-1, :-1], total[..., :-1, -1]
        estimates = np.linalg.solve(information, with_values[..., None])[..., 0]
        squares = total[..., -1, -1] - (with_values * estimates).sum(axis=-1)
        return _Solved(estimates, information, squares, np.linalg.slogdet(inner)[1].sum(axis=-1))

    def criterion(self, solved: _Solved) -> FloatArray:
        """Minus twice the log-likelihood, the residual variance at its best: (...)."""
        # no residual left: past what the sums can tell, and never the answer
        squares = np.where(solved.squares > 0, solved.squares, np.inf)
        value = self.freedom * (1 + np.log(2 * np.pi * squares / self.freedom)) + solved.log_spread
        return np.asarray(value + (np.linalg.slogdet(solved.information)[1] if self.restricted else 0.0))

    def search(self) -> FloatArray | None:
        """The factor of the highest likelihood; None if it is not found, or beyond what can be told."""
        try:
            found = self._one_ratio() if self.q == 1 else self._several()
        except np.linalg.LinAlgError:
            return None
        return None if found is None or (found[: self.q] >= _FURTHEST).any() else _factors(found, self.q)

    def _one_ratio(self) -> FloatArray | None:
        """A look at the whole range, then ever closer ones around the best point so far: nothing that may give up."""
        low, high, best = 0.0, _FURTHEST, 0.0
        for _ in range(_LOOKS):
            points = np.linspace(low, high, _POINTS)
            seen = self.criterion(self.solve(_factors(points[:, None], 1)))
            place = int(np.argmin(seen))
            if not np.isfinite(seen[place]):
                return None
            best = float(points[place])
            low, high = float(points[max(place - 1, 0)]), float(points[min(place + 1, _POINTS - 1)])
        return np.array([best])

    def _several(self) -> FloatArray | None:
        from scipy.optimize import minimize

        below = self.q * (self.q - 1) // 2
        end = minimize(
            lambda parameters: float(self.criterion(self.solve(_factors(parameters, self.q)))),
            np.array([1.0] * self.q + [0.0] * below),
            method="L-BFGS-B",
            bounds=[(0.0, _FURTHEST)] * self.q + [(None, None)] * below,
            options={"ftol": 1e-13, "gtol": 1e-7},
        )
        return np.asarray(end.x) if np.isfinite(end.fun) else None


def _factors(parameters: FloatArray, q: int) -> FloatArray:
    """Lower triangles (..., q, q) from (..., q) logs on the diagonal and what stands below it."""
    factor = np.zeros((*parameters.shape[:-1], q, q))
    factor[..., np.arange(q), np.arange(q)] = np.sqrt(np.expm1(parameters[..., :q]))
    rows, columns = np.tril_indices(q, -1)
    factor[..., rows, columns] = parameters[..., q:]
    return factor
