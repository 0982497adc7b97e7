"""Linear mixed models by restricted likelihood, with small-sample degrees of freedom. Arrays in and out; no tables.

Model: values = fixed . coefficients + e, cov e = sum over j of theta_j G_j with known matrices G_j: the components. Any
pattern of crossed or nested random effects is of this form (G = Z Z' for a random effect with design Z), and so is a
covariance between two of them (G = Z1 Z2' + Z2 Z1').

Restricted likelihood: Patterson & Thompson 1971, Biometrika 58:545 (from memory). The search is Fisher scoring with
halved steps, each one going uphill. Standard errors and degrees of freedom: Kenward & Roger 1997, Biometrics 53:983.
For one coefficient at a time their scale factor is one and their degrees of freedom are those of Satterthwaite 1946,
Biometrics Bull 2:110, with the expected information; what remains of theirs is the covariance that allows for the
components being estimated. Formulas as in Halekoh & Hojsgaard 2014, J Stat Softw 59(9), whose published results the
tests meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray

_MOST_STEPS, _MOST_HALVINGS = 300, 25
#: A step that gains less than this in minus two log-likelihood is the last; of a total variance scaled to one.
_GAIN = 1e-10
#: A step is short enough if it gains this part of what the slope promises; 1 is what the best step of a parabola gains.
_ENOUGH = 0.3
#: A covariance whose smallest eigenvalue is a smaller part of its largest variance is not positive definite.
_DEFINITE = 1e-10


class NoFit(ValueError):
    """The model cannot be told from these values; the message says why."""


class AllAlike(NoFit):
    """Of none of the sets that were to be fitted together the components can be told apart."""

    def __init__(self) -> None:
        super().__init__("the components of variance cannot be told apart")


@dataclass(frozen=True)
class Design:
    """What all sets of values that are fitted together share.

    fixed: (n, p). components: (J, n, n). lowest: (J,) the least that each theta may be, minus infinity where only the
    whole covariance must stay positive. spare (K,), spare_weights (K, J): that so many more values of each of K kinds,
    without a fixed part, are independent of all others and of each other, each with variance spare_weights . theta.
    """

    fixed: FloatArray
    components: FloatArray
    lowest: FloatArray
    spare: NDArray[np.int_]
    spare_weights: FloatArray

    @staticmethod
    def of(fixed: FloatArray, components: FloatArray, lowest: FloatArray | None = None) -> Design:
        """A design without spare values; every theta at least zero if nothing is said."""
        count = len(components)
        least = np.zeros(count) if lowest is None else np.asarray(lowest, float)
        none = np.zeros(0, int), np.zeros((0, count))
        return Design(np.asarray(fixed, float), np.asarray(components, float), least, *none)

    @property
    def freedom(self) -> int:
        """Values less fixed coefficients."""
        return len(self.fixed) + int(self.spare.sum()) - int(self.fixed.shape[1])


@dataclass(frozen=True)
class Fits:
    """B fits of one design.

    estimates, errors, freedom: (B, p) coefficients, Kenward & Roger's standard errors and degrees of freedom. theta:
    (B, J). minus_two_log_likelihood: (B,) restricted. converged: (B,) whether the last step gained nothing more.
    at_edge: (B,) whether a component ended at the least it may be. alike: (B,) whether the components cannot be told
    apart by the values of a set, of which there is no fit then: its estimates, errors and freedom are not a number.
    """

    estimates: FloatArray
    errors: FloatArray
    freedom: FloatArray
    theta: FloatArray
    minus_two_log_likelihood: FloatArray
    converged: NDArray[np.bool_]
    at_edge: NDArray[np.bool_]
    alike: NDArray[np.bool_]


def fit_components(values: FloatArray, design: Design, spare_squares: FloatArray | None = None) -> Fits:
    """Fit each of (B, n) sets of values; spare_squares (B, K): the sums of squares of the spare ones.

    Raises NoFit where the fixed part cannot be told apart by the design, or the values of a set do not vary; AllAlike
    where of no set the components can be told apart.
    """
    values = np.atleast_2d(np.asarray(values, float))
    none = np.zeros((len(values), len(design.spare)))
    squares = none if spare_squares is None else np.asarray(spare_squares, float)
    scale = _scales(values, squares, design)
    values, squares = values / scale[:, None], squares / scale[:, None] ** 2
    theta = np.repeat(_start(design)[None, :], len(values), axis=0)
    state = _state(theta, values, squares, design)
    converged, alike = np.zeros(len(values), bool), np.zeros(len(values), bool)
    for _ in range(_MOST_STEPS):
        going = np.flatnonzero(~(converged | alike))
        if not len(going):
            break
        part = _take(state, going)
        better, gained, alike[going] = _uphill(part, values[going], squares[going], design)
        state = _put(state, going, better)
        converged[going] = gained < _GAIN
    return _finished(state, design, scale, converged, alike)


@dataclass(frozen=True)
class _State:
    """B sets of thetas with what the likelihood needs there; shapes as in ``Fits``, criterion (B,)."""

    theta: FloatArray
    criterion: FloatArray
    estimates: FloatArray
    covariance: FloatArray  # (B, p, p)
    inverse: FloatArray  # (B, n, n)
    rest: FloatArray  # (B, n): inverse . (values - fitted)
    pure: FloatArray  # (B, K): variance of a spare value
    squares: FloatArray  # (B, K)


def _start(design: Design) -> FloatArray:
    """Each component with an equal part of the variance, and covariances with none."""
    own = np.einsum("jnn->j", design.components) + design.spare @ design.spare_weights
    total = len(design.fixed) + design.spare.sum()
    parts = np.where(own > 0, total / np.where(own > 0, own, 1), 0.0)
    return np.asarray(parts / max(int((own > 0).sum()), 1))


def _scales(values: FloatArray, squares: FloatArray, design: Design) -> FloatArray:
    fixed = design.fixed
    if np.linalg.matrix_rank(fixed) < fixed.shape[1]:
        raise NoFit("the fixed effects cannot be told apart")
    if design.freedom < 1:
        raise NoFit("there are no more values than fixed effects")
    ordinary = np.linalg.lstsq(fixed, values.T, rcond=None)[0]
    left = ((values.T - fixed @ ordinary) ** 2).sum(axis=0) + squares.sum(axis=1)
    scale = np.sqrt(left / design.freedom)
    if not (scale > 1e-12 * np.maximum(np.abs(values).max(axis=1), 1e-300)).all():
        raise NoFit("the values do not vary")
    return np.asarray(scale)


def _state(theta: FloatArray, values: FloatArray, squares: FloatArray, design: Design) -> _State:
    fixed = design.fixed
    covariance = np.einsum("bj,jmn->bmn", theta, design.components)
    pure = theta @ design.spare_weights.T
    possible = _are_definite(covariance) & (pure > 0).all(axis=1)
    if not possible.all():
        covariance = np.where(possible[:, None, None], covariance, np.eye(len(fixed)))
        pure = np.where(possible[:, None], pure, 1.0)
    inverse = np.asarray(np.linalg.inv(covariance), float)
    weighted = inverse @ fixed
    information = fixed.T @ weighted
    found = np.asarray(np.linalg.inv(information), float)
    estimates = (found @ (weighted.swapaxes(-1, -2) @ values[:, :, None]))[..., 0]
    rest = (inverse @ (values - estimates @ fixed.T)[:, :, None])[..., 0]
    criterion = (
        design.freedom * np.log(2 * np.pi)
        + np.linalg.slogdet(covariance)[1]
        + np.log(pure) @ design.spare
        + np.linalg.slogdet(information)[1]
        + (values * rest).sum(axis=-1)
        + (squares / pure).sum(axis=1)
    )
    criterion = np.where(possible & np.isfinite(criterion), criterion, np.inf)
    return _State(theta, criterion, estimates, found, inverse, rest, pure, squares)


def _are_definite(covariance: FloatArray) -> NDArray[np.bool_]:
    """(B,) whether each of (B, n, n) symmetric matrices is positive definite, clear of rounding."""
    diagonal = np.einsum("bnn->bn", covariance)
    shifted = covariance - _DEFINITE * diagonal.max(axis=1)[:, None, None] * np.eye(covariance.shape[-1])
    try:
        np.linalg.cholesky(shifted)
    except np.linalg.LinAlgError:  # at least one is not; which is told by the slower way
        return np.asarray(np.linalg.eigvalsh(shifted)[:, 0] > 0)
    return np.ones(len(covariance), bool)


def _information(state: _State, design: Design) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Slope (B, J) of the log-likelihood, its expected information (B, J, J), and inverse . fixed (B, n, p)."""
    weighted = state.inverse @ design.fixed
    free = state.inverse - weighted @ state.covariance @ weighted.swapaxes(-1, -2)
    products = free[:, None] @ design.components
    spare = design.spare_weights / state.pure[:, :, None]
    traces = np.einsum("bjnn->bj", products) + np.einsum("k,bkj->bj", design.spare, spare)
    within = np.einsum("bn,jnm,bm->bj", state.rest, design.components, state.rest)
    slope = 0.5 * (within + np.einsum("bk,bkj->bj", state.squares / state.pure, spare) - traces)
    pairs = np.einsum("bjnm,bkmn->bjk", products, products)
    expected = 0.5 * (pairs + np.einsum("k,bkj,bki->bji", design.spare, spare, spare))
    return slope, expected, weighted


def _uphill(
    state: _State, values: FloatArray, squares: FloatArray, design: Design
) -> tuple[_State, FloatArray, NDArray[np.bool_]]:
    """One step of scoring for each set, halved until it goes uphill; what it gained (B,), 0 where none does; and (B,)
    whether its components cannot be told apart, so that there is no step.
    """
    slope, expected, _ = _information(state, design)
    held = (state.theta <= design.lowest) & (slope <= 0)
    slope = np.where(held, 0.0, slope)
    own = np.eye(len(design.components), dtype=bool)
    expected = np.where((held[:, :, None] | held[:, None, :]) & ~own, 0.0, expected)
    expected = expected + np.where(held[:, :, None] & own, 1.0, 0.0)
    alike = _are_alike(expected)
    slope = np.where(alike[:, None], 0.0, slope)
    expected = np.where(alike[:, None, None], own, expected)
    step = np.linalg.solve(expected, slope[..., None])[..., 0]
    best, gained, length = state, np.zeros(len(values)), 1.0
    waiting = np.arange(len(values))
    for _ in range(_MOST_HALVINGS):
        tried = np.maximum(state.theta[waiting] + length * step[waiting], design.lowest)
        new = _state(tried, values[waiting], squares[waiting], design)
        gain = state.criterion[waiting] - new.criterion
        moved = (slope[waiting] * (tried - state.theta[waiting])).sum(axis=1)
        good = (gain > 0) & (gain >= _ENOUGH * moved)
        best = _put(best, waiting[good], _take(new, np.flatnonzero(good)))
        gained[waiting[good]] = gain[good]
        promise = np.abs(slope[waiting] * step[waiting]).sum(axis=1) * length
        waiting, length = waiting[~good & (promise > 1e-14)], length / 2
        if not len(waiting):
            break
    return best, gained, alike


def _are_alike(expected: FloatArray) -> NDArray[np.bool_]:
    """(B,) whether by what is expected (B, J, J) some components do the same to the values of a set."""
    return np.asarray(np.linalg.cond(expected) > 1e12)


def _finished(
    state: _State, design: Design, scale: FloatArray, converged: NDArray[np.bool_], alike: NDArray[np.bool_]
) -> Fits:
    _, expected, weighted = _information(state, design)
    alike = alike | _are_alike(expected)
    if alike.all():
        raise AllAlike
    expected = np.where(alike[:, None, None], np.eye(len(design.components)), expected)
    scatter = np.linalg.inv(expected)  # of the thetas: (B, J, J)
    across = weighted.swapaxes(-1, -2)[:, None]
    middle = design.components @ weighted[:, None]  # (B, J, n, p)
    first = across @ middle  # (B, J, p, p)
    second = np.einsum("bjnp,bnm,bkmq->bjkpq", middle, state.inverse, middle)
    found = state.covariance
    less = first[:, :, None] @ found[:, None, None] @ first[:, None, :]
    allowance = np.einsum("bjk,bjkpq->bpq", scatter, second - less)
    adjusted = found + 2 * found @ allowance @ found
    variances = np.einsum("bpp->bp", found)
    slopes = np.einsum("bjpp->bpj", found[:, None] @ first @ found[:, None])
    spread = np.einsum("bpj,bjk,bpk->bp", slopes, scatter, slopes)
    scale_told = np.where(alike, np.nan, scale)
    return Fits(
        state.estimates * scale_told[:, None],
        np.sqrt(np.maximum(np.einsum("bpp->bp", adjusted), variances)) * scale_told[:, None],
        2 * variances**2 / np.where(alike[:, None], np.nan, spread),
        state.theta * scale[:, None] ** 2,
        state.criterion + 2 * design.freedom * np.log(scale),
        converged,
        np.asarray((state.theta <= design.lowest).any(axis=1)),
        alike,
    )


def _take(state: _State, which: NDArray[np.intp]) -> _State:
    return _State(**{name: getattr(state, name)[which] for name in _State.__dataclass_fields__})


def _put(state: _State, which: NDArray[np.intp], new: _State) -> _State:
    if not len(which):
        return state
    changed = {}
    for name in _State.__dataclass_fields__:
        column = getattr(state, name).copy()
        column[which] = getattr(new, name)
        changed[name] = column
    return replace(state, **changed)
