"""Studies in which symptoms or an outcome go with the hours in the new footwear, by a known slope.

Hours differ between sites and runners. What is left of an outcome has the same spread in everybody, or one that grows
with the hours; weekly symptoms are zero in most weeks and vary more where there are more of them. Invented numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.coverage.rates import Measured, measured
from pipelines.science.statistics.dose_response import Slope, slope
from pipelines.science.statistics.pooling import t_effect

if TYPE_CHECKING:
    from schemas.trial import FloatArray

_WEEKS = 10


@dataclass(frozen=True)
class Dosed:
    """One kind of study. kind: of the response. effect: true slope of every second study, by 10 hours.

    told_wrongly: standard deviation of the error in the hours that runners tell, as a part of that of the hours.
    """

    name: str
    sites: int
    each: int
    kind: str
    effect: float
    told_wrongly: float = 0.0


def cells() -> Iterator[Dosed]:
    """All kinds of the page, in its order."""
    for sites, each in ((3, 5), (3, 10), (5, 12)):
        yield Dosed(f"{sites} x {each}, an outcome", sites, each, "even", 1.0)
        yield Dosed(f"{sites} x {each}, an outcome, spread grows with hours", sites, each, "growing", 1.0)
        yield Dosed(f"{sites} x {each}, symptoms", sites, each, "symptoms", 4.0)
    for words, part in (("half", 0.5), ("quite", 1.0)):
        name = f"5 x 12, an outcome, hours told with an error {words} as large as what they differ by"
        yield Dosed(name, 5, 12, "even", 1.0, part)


def measure_dosed(cell: Dosed, count: int, seed: int = 0) -> dict[str, Measured]:
    """The slope over runners in ``count`` studies, and what weeks that are counted as runners would say."""
    import pandas as pd

    rng = np.random.default_rng([seed, *cell.name.encode()])
    rows: dict[str, list[dict[str, object]]] = {"slope": [], weeks_as_runners.__name__: []}
    for number in range(count):
        effect = cell.effect if number % 2 == 0 else 0.0
        doses, weekly, sites = _study(cell, effect, rng)
        if cell.told_wrongly:
            apart = np.concatenate([doses[sites == site] - doses[sites == site].mean() for site in set(sites)])
            doses = doses + rng.normal(0, cell.told_wrongly * apart.std(), len(doses))
        for name, found in (
            ("slope", slope(doses, weekly.mean(axis=1), sites)),
            (weeks_as_runners.__name__, weeks_as_runners(doses, weekly, sites)),
        ):
            row: dict[str, object] = {"outcome": f"{number:05d}_{effect}"}
            known = isinstance(found, Slope)
            row["estimate_value"] = found.effect.estimate if known else np.nan
            row["lower_limit_value"] = found.effect.lower if known else np.nan
            row["upper_limit_value"] = found.effect.upper if known else np.nan
            rows[name].append(row | {"two_sided_p_value": found.p_value if known else np.nan})
    return {name: measured(cell.name, name, pd.DataFrame(own), count) for name, own in rows.items()}


def weeks_as_runners(doses: FloatArray, weekly: FloatArray, sites: FloatArray) -> Slope:
    """What is wrong with counting every week as a runner of its own: the usual least squares over all of them."""
    x = np.repeat(doses, weekly.shape[1])
    y, at = weekly.ravel(), np.repeat(sites, weekly.shape[1])
    x, y = (values - np.array([values[at == site].mean() for site in at]) for values in (x, y))
    freedom = len(x) - len(set(at)) - 1
    found = float(x @ y / (x @ x))
    error = float(np.sqrt(((y - found * x) ** 2).sum() / freedom / (x @ x)))
    effect, p_value = t_effect(found, error, freedom)
    return Slope(effect, freedom, p_value, len(x), len(set(at)), 0)


def _study(cell: Dosed, effect: float, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Doses in 10 hours (n,), responses by week (n, weeks), sites (n,)."""
    at = np.repeat(np.arange(cell.sites), cell.each)
    doses = rng.lognormal(0.4, 0.4, len(at)) + rng.uniform(0, 0.6, cell.sites)[at]
    if cell.kind == "symptoms":
        expected = 3.0 + effect * doses
        own = rng.gamma(1.0, expected)  # people differ as much as they have complaints
        ill = rng.random((len(at), _WEEKS)) < 0.3
        return doses, ill * rng.gamma(4.0, own[:, None] / 1.2, (len(at), _WEEKS)), at
    spread = doses if cell.kind == "growing" else np.ones(len(at))
    own = effect * doses + rng.normal(0, 1, cell.sites)[at] + spread * rng.normal(0, 1, len(at))
    return doses, own[:, None] + rng.normal(0, 0.5, (len(at), _WEEKS)), at
