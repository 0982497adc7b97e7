"""How a response goes with a dose, one of each per runner: the slope within sites. Arrays in and out; no tables.

Least squares with a level of its own for each site, so that sites that differ in both do not make a slope. The standard
error is HC3 of MacKinnon & White 1985, J Econometrics 29:305, which Long & Ervin 2000, Am Stat 54:217, advise below 250
people (both from memory): symptoms vary more where there are more of them, and the usual error, which takes the spread
to be the same for all, is then too small. Student's t on runners less sites less 1. What comes of it is measured in
docs/reference/coverage.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.science.statistics.pooling import Effect, t_effect
from schemas.trial import FloatArray

#: Own limit: below it one runner decides the slope.
FEWEST_RUNNERS = 10


@dataclass(frozen=True)
class Slope:
    """Change of the response by one unit of the dose.

    runners, sites: what it is made of. alone: runners without another at their site, who tell nothing.
    """

    effect: Effect
    freedom: int
    p_value: float
    runners: int
    sites: int
    alone: int


def slope(doses: FloatArray, responses: FloatArray, sites: NDArray[Any]) -> Slope | str:
    """Of (n,) runners each; a runner at several sites has one of them. A sentence where there is no answer."""
    _, at, counts = np.unique(sites, return_inverse=True, return_counts=True)
    together = counts[at] > 1
    alone = int((~together).sum())
    if together.sum() < FEWEST_RUNNERS:
        told = f"{together.sum()} of at least {FEWEST_RUNNERS} runners have dose and response"
        return f"{told}, and others at their site have" if alone else told
    x, y = (_within(np.asarray(values, float)[together], at[together]) for values in (doses, responses))
    for words, own, given in (("doses", x, doses), ("responses", y, responses)):
        if not np.abs(own).max() > 1e-9 * np.abs(given).max():
            return f"the {words} do not vary within sites"
    used = len(set(at[together].tolist()))
    freedom = len(x) - used - 1
    size = float(x @ x)
    found = float(x @ y) / size
    weight = 1 / counts[at[together]] + x**2 / size  # leverage
    if weight.max() > 1 - 1e-9:
        return "the slope rests on one runner"
    error = float(np.sqrt(((x * (y - found * x) / (1 - weight)) ** 2).sum())) / size
    if not error > 1e-12 * abs(found):
        return "the responses lie on a line, so that nothing tells how sure it is"
    effect, p_value = t_effect(found, error, freedom)
    return Slope(effect, freedom, p_value, len(x), used, alone)


def _within(values: FloatArray, at: NDArray[np.intp]) -> FloatArray:
    """Less the mean of the site."""
    counts = np.bincount(at)
    means = np.bincount(at, values) / np.maximum(counts, 1)
    return np.asarray(values - means[at])
