"""The one-stage model of runners' differences over sites: what it is, and what it says. Its design is in
``one_stage_layout``.

Model: a runner's difference = fixed part + site's own deviation + runner's own deviation + rest. The site's deviation
is the site-by-condition slope of a model of the values themselves; each runner's level at a site, and with it the
site's, is taken out by the difference, whatever it is. A runner who travelled is one person at all of his or her
sites, and only such runners tell what is the runner's own and what is rest; of all others the two are one number.

Where the variance between sites is estimated as zero, the sites' means lie closer together than chance has them. The
error that their spread says itself (Hartung & Knapp 2001, Stat Med 20:3875, for sites with known variances) is then the
smaller one, and intervals made of it hold the truth too seldom just there (own simulation: in 0.69 to 0.89 of such
studies). So it stands in only where its interval is the wider one, as where many runners of one site hide what a few at
the others differ by; with unequal sites it is the wider one of that as the sites weigh and of all weighing alike. No
interval of the model is narrower than Kenward & Roger's with no fewer degrees of freedom than the sites have. What that
costs, intervals that hold the truth too often where sites do not differ, is measured in docs/reference/coverage.md.

Where sites are very unequal, Kenward & Roger leave fewer degrees of freedom than the sites have among themselves, down
to a tenth of one, and Student's t makes an interval of any width of that (three sites with 60, 2 and 2 runners: up to
1e9 runners' standard deviations). The degrees of freedom are then those of the sites, as the between-within count has
them (Schluchter & Elashoff 1990, J Stat Comput Simul 37:69, from memory); estimate and error stay as they are.

The model has one variance for the runners of all sites. Where they vary unequally (``unequal_noise``) and a site with
many runners more than the others, its interval can hold the truth in half of all studies; the mean of the sites' means
then stands in, t on sites less 1, which unequal variances make no narrower than it says (Ibragimov & Muller 2010, J Bus
Econ Stat 28:453, from memory; measured in docs/reference/coverage.md), its error never below that of the runners within
the sites. With covariates, or runners who travelled and
whose chance several sites share, there is no such way out: the model stays, with a caution.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pipelines.science.statistics.mixed_model import AllAlike, Fits, NoFit, fit_components
from pipelines.science.statistics.one_stage_layout import Fitted, Layout, layout, of_kind
from pipelines.science.statistics.pooling import Effect, t_effect, upper_point
from pipelines.science.statistics.unequal_noise import unequal_noise
from schemas.trial import FloatArray

Interval = Literal["kenward_roger", "kenward_roger_sites", "sites_spread", "runners_within_sites"]
#: A part of the total variance below which a component counts as zero.
_NOTHING = 1e-8
#: Sites that differ by so many variances of the rest weigh alike, however many runners they have.
_ALIKE = 1e4
#: A part of the degrees of freedom that is rounding in how they are computed: with equal sites they are the sites'.
_ROUNDING = 1e-3


@dataclass(frozen=True)
class OneStage:
    """What the model says of the first fixed coefficient.

    between_site_sd, runner_sd, rest_sd: roots of the components, 0 for one estimated at or below zero; None for one
    that is not in the model, or that nothing tells: with one difference at each site there is no rest.
    singular: whether one was. interval: what its error is made of. simpler: why a simpler model stands in for the
    usual one. caution: why the interval may be narrower than it says.
    """

    effect: Effect
    freedom: float
    p_value: float
    fitted: Fitted
    between_site_sd: float | None
    runner_sd: float | None
    rest_sd: float | None
    singular: bool
    interval: Interval = "kenward_roger"
    simpler: str | None = None
    caution: str | None = None


@dataclass(frozen=True)
class Means:
    """B mean differences with their standard errors and degrees of freedom, (B,) each, and the fits they are from.

    by_spread: (B,) whether the error is that of the sites' spread, its interval being wider than Kenward & Roger's.
    by_sites: (B,) whether the degrees of freedom are those of the sites, Kenward & Roger's being fewer.
    """

    estimates: FloatArray
    errors: FloatArray
    freedom: FloatArray
    fits: Fits
    by_spread: NDArray[np.bool_]
    by_sites: NDArray[np.bool_]


def fit_layout(differences: FloatArray, of: Layout) -> Means:
    """Fit each of (B, n) sets of differences. Raises NoFit as ``fit_components``."""
    differences = np.atleast_2d(np.asarray(differences, float))
    middle = differences.mean(axis=1, keepdims=True)
    centred = differences - middle
    reduced = centred @ of.kept.T
    squares = [
        (of_kind(kind, centred, of.alike) ** 2).sum(axis=1) - (reduced[:, told] ** 2).sum(axis=1)
        for kind, told in of.kinds
    ]
    none = np.zeros((len(centred), 0))
    fits = fit_components(reduced, of.design, np.maximum(np.column_stack([none, *squares]), 0.0))
    errors, freedom = fits.errors[:, 0].copy(), fits.freedom[:, 0].copy()
    by_sites = freedom < of.sites_freedom * (1 - _ROUNDING)
    freedom[by_sites] = of.sites_freedom
    by_spread = np.zeros(len(differences), bool)
    close = np.flatnonzero((fits.theta[:, 0] <= 0) & ~fits.alike) if of.fitted != "one_site" else np.array([], int)
    if len(close):
        told, own = _wider_spread(reduced[close], fits.theta[close], of)
        wider = told * upper_point(own) > errors[close] * np.array([upper_point(one) for one in freedom[close]])
        at = close[wider]
        errors[at], freedom[at], by_spread[at], by_sites[at] = told[wider], own, True, False
    return Means(fits.estimates[:, 0] + middle[:, 0], errors, freedom, fits, by_spread, by_sites)


def _wider_spread(reduced: FloatArray, theta: FloatArray, of: Layout) -> tuple[FloatArray, float]:
    """(B,) the wider error of two by the sites' spread, as the sites weigh here and all weighing alike; and its degrees
    of freedom.

    Where one site has most of the runners the estimate is nearly its mean, and has all of its deviation, while the
    spread over few runners elsewhere says little of it. With equal sites the two are one.
    """
    plain, spread, freedom = _by_the_sites_spread(reduced, theta, of)
    alike = theta.copy()
    alike[:, 0] = _ALIKE * np.abs(theta[:, 1:]).sum(axis=1)
    plain_alike, spread_alike, _ = _by_the_sites_spread(reduced, alike, of)
    return np.maximum(plain * np.sqrt(spread), plain_alike * np.sqrt(spread_alike)), freedom


def _by_the_sites_spread(reduced: FloatArray, theta: FloatArray, of: Layout) -> tuple[FloatArray, FloatArray, float]:
    """What errors are made of where sites do not seem to differ: (B,) the error that the model without sites has, (B,)
    q, of which it is times the root, and the degrees of freedom.

    q: what the sites' effects, were they fixed, would take off the weighted sum of squares, over their number less 1.
    It has a chi-square distribution over its degrees of freedom if the model is right, and grows with whatever
    differences between sites there are.
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
    return np.sqrt(found[:, 0, 0]), taken / freedom, float(freedom)


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
            rows.append(_with_noise(_told(means, place, of), own, sites, of))
    return rows


def _with_noise(found: OneStage, differences: FloatArray, sites: NDArray[Any], of: Layout) -> OneStage | NoFit:
    """The same if runners vary alike at all sites; else what stands in for it, or the same with a caution."""
    noise = None if of.fitted == "one_site" else unequal_noise(differences, sites)
    if noise is None:
        return found
    if of.fitted == "site" and of.design.fixed.shape[1] == 1:
        return _site_means(differences, sites, NoFit(str(noise)))
    told = f"{noise}, which the model takes for equal: its interval may be too narrow"
    return replace(found, caution=told if found.caution is None else f"{found.caution}; {told}")


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
        "sites_spread"
        if means.by_spread[place]
        else "kenward_roger_sites"
        if means.by_sites[place]
        else "kenward_roger",
    )


def _site_means(differences: FloatArray, sites: NDArray[Any], why: NoFit) -> OneStage | NoFit:
    """Every site's mean counting alike: right whatever the components, and wide.

    The error is the larger one of two: by the spread of the sites' means, which is right whatever sites and runners
    differ by, and by the runners within each site alone, for where the means lie close together by chance. Degrees of
    freedom are sites less 1 either way: that the means lie close says nothing of how well they are known.
    """
    names, places = np.unique(sites, return_inverse=True)
    means = np.bincount(places, differences) / np.bincount(places)
    spread = float(means.std(ddof=1)) if len(names) > 1 else 0.0
    if not spread > 1e-12 * float(np.abs(differences).max()):
        return why
    free = len(differences) - len(names)
    rest = float(np.sqrt(((differences - means[places]) ** 2).sum() / free)) if free else None
    interval: Interval = "sites_spread"
    error, freedom = spread / np.sqrt(len(names)), float(len(names) - 1)
    if (within := _within(differences, means, places, rest or 0.0)) > error:
        error, interval = within, "runners_within_sites"
    effect, p_value = t_effect(float(means.mean()), error, freedom)
    return OneStage(effect, freedom, p_value, "site_means", None, None, rest, False, interval, str(why))


def _within(differences: FloatArray, means: FloatArray, places: NDArray[np.intp], rest: float) -> float:
    """Standard error of the mean of the sites' means by runners within sites alone, each site with its own variance.

    rest: standard deviation for a site of one runner.
    """
    counts = np.bincount(places)
    squares = np.bincount(places, (differences - means[places]) ** 2)
    parts = np.where(counts > 1, squares / np.maximum(counts - 1, 1), rest**2) / counts
    return float(np.sqrt(parts.sum())) / len(counts)
