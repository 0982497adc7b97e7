"""Studies of whole curves with a known mean difference: how often its band holds it, sites differing or not.

What a runner, and a site, differs by from the mean is a smooth curve itself. Invented numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.coverage.measure import Measured
from benchmarks.coverage.studies import SPREADS
from pipelines.science.statistics.curve_bands import band

if TYPE_CHECKING:
    from schemas.trial import FloatArray

_AT = np.linspace(0, 1, 101)
_WAVES = np.arange(1, 5)
#: Fewer than the warehouse looks at, which makes the shares here no worse: all that differs is which are drawn.
_PATTERNS = 2000
BAND = "band"


@dataclass(frozen=True)
class Curved:
    """One kind of study. site_sd: of sites' own curves at any point, runners' being 1; effect: at its height."""

    name: str
    sites: int
    each: int
    site_sd: float
    effect: float = 0.8


def curved_cells() -> Iterator[Curved]:
    """All kinds of the page, in its order."""
    yield Curved("1 x 12, curves", 1, 12, 0.0)
    for sites, each in ((3, 10), (5, 6), (5, 12)):
        for word in ("no", "small", "moderate"):
            yield Curved(f"{sites} x {each}, curves, {word} differences between sites", sites, each, SPREADS[word])


def measure_curved(cell: Curved, count: int, seed: int = 0) -> dict[str, Measured]:
    """The band in ``count`` studies, in every second of which there is no difference."""
    rng = np.random.default_rng([seed, *cell.name.encode()])
    at = np.repeat(np.arange(cell.sites), cell.each)
    held, found, errors, widths = [], [], [], []
    for number in range(count):
        true = (cell.effect if number % 2 == 0 else 0.0) * np.sin(np.pi * _AT)
        one = band(true + _smooth(len(at), rng) + cell.site_sd * _smooth(cell.sites, rng)[at], _PATTERNS)
        held.append(bool(((one.lower <= true) & (true <= one.upper)).all()))
        found.append(one.p_value < 0.05)
        errors.append(float((one.mean - true).mean()))
        widths.append(float((one.upper - one.lower).mean()))
    power, type_1 = np.mean(found[::2]), np.mean(found[1::2])
    rates = float(np.mean(held)), float(type_1), float(power), float(np.mean(errors)), float(np.mean(widths))
    return {BAND: Measured(cell.name, BAND, count, 0, *rates)}


def _smooth(count: int, rng: np.random.Generator) -> FloatArray:
    """(count, points) curves around zero, of standard deviation 1 at every point."""
    heights = rng.normal(0, 1, (count, len(_WAVES), 1))
    phases = rng.uniform(0, 2 * np.pi, (count, len(_WAVES), 1))
    waves = heights * np.sin(np.pi * _WAVES[:, None] * _AT + phases)
    found: FloatArray = waves.sum(axis=1) * np.sqrt(2 / len(_WAVES))
    return found
