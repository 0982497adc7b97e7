"""The one-stage model of runners' differences over sites: what it is, and how it is reduced to few numbers.

Model: a runner's difference = fixed part + site's own deviation + runner's own deviation + rest. The site's deviation
is the site-by-condition slope of a model of the values themselves; each runner's level at a site, and with it the
site's, is taken out by the difference, whatever it is. A runner who travelled is one person at all of his or her
sites, and only such runners tell what is the runner's own and what is rest; of all others the two are one number.

Where the variance between sites is estimated as zero, the sites' means lie closer together than chance has them, and
the model's own error no longer fits its degrees of freedom, which are few: the interval would hold the truth nearly
always. There, and only there, the error is the one that the spread of the sites' means says themselves, as Hartung &
Knapp 2001 have it for sites with known variances (Stat Med 20:3875): with equal sites it is the t of their means. It
can be narrower than a t over all runners that ignores the sites. With unequal sites it is the wider one of that and of
the one with all sites weighing alike. What either costs is measured in docs/reference/coverage.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pipelines.science.statistics.mixed_model import AllAlike, Design, Fits, NoFit, fit_components
from pipelines.science.statistics.pooling import Effect, t_effect
from schemas.trial import FloatArray

Fitted = Literal["site_and_runner", "site", "one_site", "site_means"]
#: A part of the total variance below which a component counts as zero.
_NOTHING = 1e-8
#: Sites that differ by so many variances of the rest weigh alike, however many runners they have.
_ALIKE = 1e4


@dataclass(frozen=True)
class Layout:
    """Who was where, turned into a design.

    kept: (r, n) orthonormal rows that turn n differences into the r numbers that are not pure deviations from runners
    who were at the same sites. alike: (m, s) places of m such runners' differences at the s sites. kinds: of the pure
    deviations: ``_of_kind``, and where in ``kept`` those of them stand that are not. of_site: (r, k) the sites' effects
    in the numbers kept. fitted: which components there are, in the order of the design's: site, runner, rest.
    """

    kept: FloatArray
    alike: Sequence[NDArray[np.intp]]
    kinds: Sequence[tuple[int, slice]]
    of_site: FloatArray
    design: Design
    fitted: Fitted


@dataclass(frozen=True)
class OneStage:
    """What the model says of the first fixed coefficient.

    between_site_sd, runner_sd, rest_sd: roots of the components, 0 for one estimated at or below zero; None for one
    that is not in the model, or that nothing tells: with one difference at each site there is no rest.
    singular: whether one was. interval: what its error is made of. simpler: why a simpler model stands in for the
    usual one.
    """

    effect: Effect
    freedom: float
    p_value: float
    fitted: Fitted
    between_site_sd: float | None
    runner_sd: float | None
    rest_sd: float | None
    singular: bool
    interval: Literal["kenward_roger", "sites_spread"] = "kenward_roger"
    simpler: str | None = None


@dataclass(frozen=True)
class Means:
    """B mean differences with their standard errors and degrees of freedom, (B,) each, and the fits they are from.

    by_spread: (B,) whether the error is that of the sites' spread.
    """

    estimates: FloatArray
    errors: FloatArray
    freedom: FloatArray
    fits: Fits
    by_spread: NDArray[np.bool_]


def layout(runners: NDArray[Any], sites: NDArray[Any], covariates: FloatArray | None = None) -> Layout:
    """The design of n differences. runners, sites: (n,) labels. covariates: (n, c); the first coefficient is the mean
    difference where all of them are zero.

    Runners who were at the same sites enter by their means there, by what the covariates vary among them, and by sums
    of squares of what is left: nothing is lost, and the cost does not grow with their number.
    """
    n = len(runners)
    fixed = np.ones((n, 1))
    if covariates is not None:
        fixed = np.column_stack([fixed, covariates])
    at, who = (np.unique(labels, return_inverse=True)[1] for labels in (sites, runners))
    of_site = (at[:, None] == np.arange(at.max() + 1)).astype(float)
    several, travels = of_site.shape[1] > 1, len({*zip(who.tolist(), at.tolist(), strict=True)}) > who.max() + 1
    alike = _alike(who if travels else np.arange(n), at)
    means = _means(alike, n)
    kept, kinds, spare = [means], list[tuple[int, slice]](), list[int]()
    within = (fixed - means.T @ (means @ fixed)).T
    for kind in sorted({own.shape[1] for own in alike}) + ([0] if travels else []):
        left, size, _ = np.linalg.svd(_of_kind(kind, within, alike).T, full_matrices=False)
        told = left.T[size > 1e-9 * np.sqrt(n)]
        first = sum(map(len, kept))
        free = sum((len(own) - 1) * _each(kind, own.shape[1]) for own in alike) - len(told)
        kept.append(told)
        if free > 0:
            kinds.append((kind, slice(first, first + len(told))))
            spare.append(free)
    rows = np.vstack(kept)
    parts, weights = [rows @ of_site] if several else [], [np.zeros(len(kinds))] if several else []
    if travels:
        parts.append(rows @ (who[:, None] == np.arange(who.max() + 1)))
        weights.append(np.array([float(kind) for kind, _ in kinds]))
    components = np.array([*(part @ part.T for part in parts), np.eye(len(rows))])
    weights.append(np.ones(len(kinds)))
    design = Design(rows @ fixed, components, np.zeros(len(components)), np.array(spare), np.array(weights).T)
    fitted: Fitted = "site_and_runner" if travels else "site" if several else "one_site"
    return Layout(rows, alike, kinds, rows @ of_site, design, fitted)


def _alike(who: NDArray[np.intp], at: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """(m, s) places of the differences of m runners who were at the same s sites, for each such set of sites."""
    order = np.lexsort((at, who))
    found: dict[tuple[int, ...], list[NDArray[np.intp]]] = {}
    for own in np.split(order, np.flatnonzero(np.diff(who[order])) + 1):
        found.setdefault(tuple(at[own].tolist()), []).append(own)
    return [np.array(own) for own in found.values()]


def _means(alike: Sequence[NDArray[np.intp]], n: int) -> FloatArray:
    """Orthonormal rows that make of n differences the means of runners who were at the same sites, at each of these."""
    places = [column for own in alike for column in own.T]
    found = np.zeros((len(places), n))
    for row, column in zip(found, places, strict=True):
        row[column] = 1 / np.sqrt(len(column))
    return found


def _of_kind(kind: int, values: FloatArray, alike: Sequence[NDArray[np.intp]]) -> FloatArray:
    """Of (..., n) values the deviations of one kind, which have one variance.

    From the means of runners who were at the same sites, deviations have no part of the sites. Those of a runner's mean
    over so many sites as ``kind`` says hold the runner's own deviation as often; 0: of a runner's sites from the
    runner's mean, which hold none of it.
    """
    found = np.zeros_like(values)
    for places in alike:
        own = values[..., places]
        own = own - own.mean(axis=-2, keepdims=True)
        level = own.mean(axis=-1, keepdims=True)
        if kind == places.shape[1]:
            found[..., places] = level
        elif kind == 0:
            found[..., places] = own - level
    return found


def _each(kind: int, sites: int) -> int:
    """How many deviations of a kind a runner has who was at so many sites."""
    return sites - 1 if kind == 0 else int(kind == sites)


def fit_layout(differences: FloatArray, of: Layout) -> Means:
    """Fit each of (B, n) sets of differences. Raises NoFit as ``fit_components``."""
    differences = np.atleast_2d(np.asarray(differences, float))
    middle = differences.mean(axis=1, keepdims=True)
    centred = differences - middle
    reduced = centred @ of.kept.T
    squares = [
        (_of_kind(kind, centred, of.alike) ** 2).sum(axis=1) - (reduced[:, told] ** 2).sum(axis=1)
        for kind, told in of.kinds
    ]
    none = np.zeros((len(centred), 0))
    fits = fit_components(reduced, of.design, np.maximum(np.column_stack([none, *squares]), 0.0))
    errors, freedom = fits.errors[:, 0].copy(), fits.freedom[:, 0].copy()
    close = np.flatnonzero((fits.theta[:, 0] <= 0) & ~fits.alike) if of.fitted != "one_site" else np.array([], int)
    if len(close):
        errors[close], freedom[close] = _wider_spread(reduced[close], fits.theta[close], of)
    by_spread = np.isin(np.arange(len(differences)), close)
    return Means(fits.estimates[:, 0] + middle[:, 0], errors, freedom, fits, by_spread)


def _wider_spread(reduced: FloatArray, theta: FloatArray, of: Layout) -> tuple[FloatArray, float]:
    """The wider error of two: as the sites weigh here, and all weighing alike; degrees of freedom.

    Where one site has most of the runners the estimate is nearly its mean, and has all of its deviation, while the
    spread over few runners elsewhere says little of it. With equal sites the two are one.
    """
    errors, freedom = _by_the_sites_spread(reduced, theta, of)
    alike = theta.copy()
    alike[:, 0] = _ALIKE * np.abs(theta[:, 1:]).sum(axis=1)
    return np.maximum(errors, _by_the_sites_spread(reduced, alike, of)[0]), freedom


def _by_the_sites_spread(reduced: FloatArray, theta: FloatArray, of: Layout) -> tuple[FloatArray, float]:
    """Standard errors (B,) and degrees of freedom where sites do not seem to differ.

    The error that the model without sites has, times the root of q: what the sites' effects, were they fixed, would
    take off the weighted sum of squares, over their number less 1. It has a chi-square distribution over its degrees
    of freedom if the model is right, and grows with whatever differences between sites there are.
    """
    inverse = np.linalg.inv(np.einsum("bj,jmn->bmn", theta, of.design.components))
    weighted = inverse @ of.design.fixed
    found = np.linalg.inv(of.design.fixed.T @ weighted)
    free = inverse - weighted @ found @ weighted.swapaxes(-1, -2)
    across = of.of_site.T @ free
    pulls = (across @ reduced[:, :, None])[..., 0]
    between = across @ of.of_site
    freedom = int(np.linalg.matrix_rank(between[0], tol=1e-8 * float(np.trace(between[0]))))
    if freedom == 0:
        raise NoFit("what the sites differ by cannot be distinguished from the other fixed effects")
    taken = np.einsum("bk,bkl,bl->b", pulls, np.linalg.pinv(between, rcond=1e-8, hermitian=True), pulls)
    return np.sqrt(found[:, 0, 0] * taken / freedom), float(freedom)


def one_stage(
    differences: FloatArray, runners: NDArray[Any], sites: NDArray[Any], covariates: FloatArray | None = None
) -> OneStage:
    """The model of (n,) differences; the mean of the sites' means where it has no fit. Raises NoFit if that has none.

    The fixed part is the mean difference, with covariates (n, c) at zero.
    """
    (found,) = one_stage_each(np.asarray(differences, float)[None, :], runners, sites, covariates)
    if isinstance(found, NoFit):
        raise found
    return found


def one_stage_each(
    differences: FloatArray, runners: NDArray[Any], sites: NDArray[Any], covariates: FloatArray | None = None
) -> list[OneStage | NoFit]:
    """The same for each of (B, n) sets of differences of the same runners at the same sites, fitted together."""
    try:
        of = layout(runners, sites, covariates)
    except NoFit as error:
        return [_site_means(own, sites, error) for own in differences]
    return _fitted(differences, sites, of)


def _fitted(differences: FloatArray, sites: NDArray[Any], of: Layout) -> list[OneStage | NoFit]:
    """What the model says of each set. Where one has no fit the sets are halved, until it is found."""
    try:
        means = fit_layout(differences, of)
    except AllAlike as error:
        return [_site_means(own, sites, error) for own in differences]
    except NoFit as error:
        if len(differences) == 1:
            return [_site_means(differences[0], sites, error)]
        half = len(differences) // 2
        return [*_fitted(differences[:half], sites, of), *_fitted(differences[half:], sites, of)]
    rows: list[OneStage | NoFit] = []
    for place, own in enumerate(differences):
        if means.fits.alike[place]:
            rows.append(_site_means(own, sites, AllAlike()))
        elif not means.fits.converged[place]:
            why = NoFit("the search for the components of variance does not end")
            rows.append(_site_means(own, sites, why))
        elif not means.errors[place] > 0:
            rows.append(_site_means(own, sites, NoFit("the sites' means do not vary")))
        else:
            rows.append(_told(means, place, of))
    return rows


def _told(means: Means, place: int, of: Layout) -> OneStage:
    freedom, theta = float(means.freedom[place]), means.fits.theta[place]
    effect, p_value = t_effect(float(means.estimates[place]), float(means.errors[place]), freedom)
    roots = [float(np.sqrt(max(value, 0.0))) for value in theta]
    return OneStage(
        effect,
        freedom,
        p_value,
        of.fitted,
        None if of.fitted == "one_site" else roots[0],
        roots[1] if of.fitted == "site_and_runner" else None,
        roots[-1],
        bool((theta < _NOTHING * np.abs(theta).sum()).any()),
        "sites_spread" if means.by_spread[place] else "kenward_roger",
    )


def _site_means(differences: FloatArray, sites: NDArray[Any], why: NoFit) -> OneStage | NoFit:
    """Every site's mean counting alike, t on sites less 1: right whatever the components, and wide."""
    names, places = np.unique(sites, return_inverse=True)
    means = np.bincount(places, differences) / np.bincount(places)
    spread = float(means.std(ddof=1)) if len(names) > 1 else 0.0
    if not spread > 1e-12 * float(np.abs(differences).max()):
        return why
    effect, p_value = t_effect(float(means.mean()), spread / np.sqrt(len(names)), len(names) - 1)
    free = len(differences) - len(names)
    rest = float(np.sqrt(((differences - means[places]) ** 2).sum() / free)) if free else None
    return OneStage(effect, len(names) - 1, p_value, "site_means", None, None, rest, False, "sites_spread", str(why))
