"""The design of the one-stage model: n differences of runners at sites, reduced to the few numbers that are not pure
deviations from runners who were at the same sites, and sums of squares of those. What is made of it: ``one_stage``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pipelines.science.statistics.mixed_model import Design
from schemas.trial import FloatArray

Fitted = Literal["site_and_runner", "site", "one_site", "site_means"]


@dataclass(frozen=True)
class Layout:
    """Who was where, turned into a design.

    kept: (r, n) orthonormal rows that turn n differences into the r numbers that are not pure deviations from runners
    who were at the same sites. alike: (m, s) places of m such runners' differences at the s sites. kinds: of the pure
    deviations: ``of_kind``, and where in ``kept`` those of them stand that are not. of_site: (r, k) the sites' effects
    in the numbers kept. sites_freedom: degrees of freedom that the sites have beside the fixed part; without covariates
    one less than sites. fitted: which components there are, in the order of the design's: site, runner, rest.
    """

    kept: FloatArray
    alike: Sequence[NDArray[np.intp]]
    kinds: Sequence[tuple[int, slice]]
    of_site: FloatArray
    sites_freedom: int
    design: Design
    fitted: Fitted


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
        left, size, _ = np.linalg.svd(of_kind(kind, within, alike).T, full_matrices=False)
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
    free = int(np.linalg.matrix_rank(np.column_stack([fixed, of_site])) - np.linalg.matrix_rank(fixed))
    return Layout(rows, alike, kinds, rows @ of_site, free, design, fitted)


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


def of_kind(kind: int, values: FloatArray, alike: Sequence[NDArray[np.intp]]) -> FloatArray:
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
