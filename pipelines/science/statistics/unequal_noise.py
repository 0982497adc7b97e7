"""Whether runners' differences vary unequally between sites, which a model with one variance for all cannot allow for.

The test is Brown & Forsythe 1974, J Am Stat Assoc 69:364 (formula from memory; SciPy's ``levene`` with medians is the
second route of the tests): analysis of variance of the distances from each site's median, which holds its level for
differences that are not normal. What a model does about it is said there.

Where the design is such that the test could hardly see it, that is said of the design, whatever the data
(``hardly_seen``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray

#: Of two runners both are as far from their median, which says nothing of how far runners are.
_FEWEST = 3
_LEVEL = 0.05
#: A site so many times as large as another decides both the estimate and the one variance of all. What the smaller ones
#: know of their own noise are their runners beyond the first of each. With 4 to 12 of those, 20 to 40 runners elsewhere
#: who vary three times as much were found out in 0.17 to 0.78 of simulated studies, ten times in 0.6 to 1. Own limits.
_TIMES_AS_LARGE, _TELLS_LITTLE = 3, 12


@dataclass(frozen=True)
class UnequalNoise:
    """The sites whose differences vary least and most, with their standard deviations; p of the test."""

    least: tuple[str, float]
    most: tuple[str, float]
    p_value: float

    def __str__(self) -> str:
        low, high = (f"SD {size:.3g} at {site}" for site, size in (self.least, self.most))
        return (
            f"the runners' differences vary unequally between sites ({low}, {high}, "
            f"p = {self.p_value:.2g} by Brown & Forsythe 1974)"
        )


def unequal_noise(differences: FloatArray, sites: NDArray[Any]) -> UnequalNoise | None:
    """What is unequal in (n,) differences at (n,) sites with 5 % probability at most if nothing is; None for nothing.

    Of a site with two runners only how far they are apart tells anything: such sites are looked at together, if there
    are at least three of them. That keeps the level (own simulation: 0.043 to 0.062 for 4 to 30 runners beside 3 to 10
    such sites). Sites of one runner tell nothing of it.
    """
    from scipy.special import fdtrc

    named = [(site, differences[sites == site]) for site in np.unique(sites)]
    groups = [(str(site), float(own.std(ddof=1))) for site, own in named if len(own) >= _FEWEST]
    distances = [np.abs(own - np.median(own)) for _, own in named if len(own) >= _FEWEST]
    apart = np.array([abs(own[0] - own[1]) for _, own in named if len(own) == 2]) / np.sqrt(2)
    if len(apart) >= _FEWEST:
        groups.append((f"{len(apart)} sites of two runners", float(np.sqrt((apart**2).mean()))))
        distances.append(apart)
    if len(groups) < 2:
        return None
    every = np.concatenate(distances)
    between = sum(len(own) * float(own.mean() - every.mean()) ** 2 for own in distances)
    within = sum(float(((own - own.mean()) ** 2).sum()) for own in distances)
    freedom = len(groups) - 1, len(every) - len(groups)
    if not within > 1e-20 * max(float((every**2).sum()), 1e-300):
        return None
    p_value = float(fdtrc(*freedom, between / freedom[0] / (within / freedom[1])))
    if not p_value < _LEVEL:
        return None
    spreads = sorted((size, site) for site, size in groups)
    return UnequalNoise((spreads[0][1], spreads[0][0]), (spreads[-1][1], spreads[-1][0]), p_value)


def hardly_seen(sites: NDArray[Any], fewest_small: int) -> str | None:
    """Why unequal noise could hardly be seen at (n,) sites, whatever the differences; None where it could.

    Some sites have three times as many runners as any of the others, and these tell hardly how much their own vary.
    fewest_small: so many others there must be for it to matter.
    """
    names, counts = np.unique(sites, return_counts=True)
    order = np.argsort(-counts, kind="stable")
    for large in range(1, len(order) - fewest_small + 1):
        few = counts[order[large:]]
        free = int((few - 1).sum())
        if counts[order[large - 1]] >= _TIMES_AS_LARGE * few.max() and free <= _TELLS_LITTLE:
            big = ", ".join(f"{counts[site]} at {names[site]}" for site in order[:large])
            many = f"{few.min()}" if few.min() == few.max() else f"{few.min()} to {few.max()}"
            return (
                f"the design can hardly show whether runners vary alike at all sites: {len(few)} sites of {many} "
                f"runners tell little of how much these vary, beside so many more ({big})"
            )
    return None
