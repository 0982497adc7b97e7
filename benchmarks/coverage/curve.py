"""Studies of whole curves with a known mean difference: how often bands hold it, sites differing or not.

What a runner, and a site, differs by from the mean is a smooth curve itself. Invented numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.coverage.rates import Measured
from benchmarks.coverage.studies import SPREADS, UNEQUAL
from pipelines.science.statistics.curve_bands import Bounds, band
from pipelines.science.statistics.curve_sites import FEWEST_SITES, across_sites

if TYPE_CHECKING:
    from schemas.trial import FloatArray

_AT = np.linspace(0, 1, 101)
_WAVES = np.arange(1, 5)
#: Fewer than the warehouse looks at, which makes the shares here no worse: all that differs is which are drawn.
_PATTERNS = 2000
BAND, OF_THESE, OVER_SITES = "band", "band, runners of these sites", "band, over sites"


@dataclass(frozen=True)
class Curved:
    """One kind of study. site_sd: of sites' own curves at any point, runners' being 1; effect: at its height.

    sizes: runners of each site, where these are unequal.
    """

    name: str
    sites: int
    each: int
    site_sd: float
    effect: float = 0.8
    sizes: tuple[int, ...] = ()

    @property
    def runners(self) -> tuple[int, ...]:
        """How many each site has."""
        return self.sizes or (self.each,) * self.sites


def curved_cells() -> Iterator[Curved]:
    """All kinds of the page, in its order."""
    yield Curved("1 x 12, curves", 1, 12, 0.0)
    for sites, each in ((3, 10), (4, 10), (5, 6), (5, 12), (8, 10)):
        for word in ("no", "small", "moderate"):
            yield Curved(f"{sites} x {each}, curves, {word} differences between sites", sites, each, SPREADS[word])
    yield Curved("5 unequal sites, curves, moderate differences", len(UNEQUAL), 0, SPREADS["moderate"], sizes=UNEQUAL)


def measure_curved(cell: Curved, count: int, seed: int = 0) -> dict[str, Measured]:
    """The bands in ``count`` studies, in every second of which there is no difference in the mean of all sites.

    ``BAND`` against the mean of all sites, ``OF_THESE`` the same band against that of the sites of the study, weighed
    by their runners; ``OVER_SITES`` the band with sites as the unit, against the mean of all sites.
    """
    rng = np.random.default_rng([seed, *cell.name.encode()])
    at = np.repeat(np.arange(cell.sites), cell.runners)
    told: dict[str, list[tuple[bool, bool, float, float]]] = {BAND: [], OF_THESE: [], OVER_SITES: []}
    for number in range(count):
        true = (cell.effect if number % 2 == 0 else 0.0) * np.sin(np.pi * _AT)
        of_site = cell.site_sd * _smooth(cell.sites, rng)[at]
        curves = true + _smooth(len(at), rng) + of_site
        one = band(curves, _PATTERNS)
        told[BAND].append(_one(one, true, one.p_value))
        told[OF_THESE].append(_one(one, true + of_site.mean(axis=0), one.p_value))
        if cell.sites >= FEWEST_SITES:
            wide = across_sites(curves, at)
            told[OVER_SITES].append(_one(wide, true, wide.p_value))
    return {name: _measured(cell, name, own) for name, own in told.items() if own}


def _one(found: Bounds, true: FloatArray, p_value: float) -> tuple[bool, bool, float, float]:
    held = bool(((found.lower <= true) & (true <= found.upper)).all())
    return held, p_value < 0.05, float((found.mean - true).mean()), float((found.upper - found.lower).mean())


def _measured(cell: Curved, name: str, own: list[tuple[bool, bool, float, float]]) -> Measured:
    held, found, errors, widths = zip(*own, strict=True)
    power, type_1 = np.mean(found[::2]), np.mean(found[1::2])
    if name == OF_THESE and cell.site_sd:  # in none of these there is no difference
        type_1 = power = np.nan
    rates = float(np.mean(held)), float(type_1), float(power), float(np.mean(errors)), float(np.mean(widths))
    return Measured(cell.name, name, len(own), 0, *rates)


def _smooth(count: int, rng: np.random.Generator) -> FloatArray:
    """(count, points) curves around zero, of standard deviation 1 at every point."""
    heights = rng.normal(0, 1, (count, len(_WAVES), 1))
    phases = rng.uniform(0, 2 * np.pi, (count, len(_WAVES), 1))
    waves = heights * np.sin(np.pi * _WAVES[:, None] * _AT + phases)
    found: FloatArray = waves.sum(axis=1) * np.sqrt(2 / len(_WAVES))
    return found
