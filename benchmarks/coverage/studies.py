"""Studies whose true answer is known: runners' means as the warehouse has them, made by one linear rule and chance.

Unit: the standard deviation of one runner's difference at one site is 1. It has two equal parts, the runner's own true
difference and the chance of a visit, so that travelling runners can tell them apart. Levels of runners and sites are
much larger and must not matter. Invented numbers; nothing here was measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from schemas.trial import FloatArray

CONDITION, REFERENCE = "new", "old"
#: True difference in every second study; in the others it is zero.
EFFECT = 0.8
_RUNNER_LEVEL, _SITE_LEVEL = 3.0, 2.0
_OWN_SD, _VISIT_SD = np.sqrt(0.5), 0.5  # the difference of two visits' chances has twice the variance of one


@dataclass(frozen=True)
class Cell:
    """One kind of study.

    sizes: runners who stay at each site. site_sd: of the sites' true differences. travelling: runners at every site
    beside them. order_effect: by how much a condition is changed for having been run second; reference_first: share of
    runners who run the reference first. null_below: a value of the condition is lost, so much below its mean (of all
    runners), as an impact peak is not there in soft landings; None for no loss. effect: what the studies with an
    effect have. spreads: by how much as usual runners of each site vary; nothing for as usual.
    """

    name: str
    sizes: tuple[int, ...]
    site_sd: float = 0.0
    travelling: int = 0
    order_effect: float = 0.0
    reference_first: float = 0.5
    null_below: float | None = None
    effect: float = EFFECT
    spreads: tuple[float, ...] = ()

    @property
    def is_fair(self) -> bool:
        """Whether nothing is in it that the models cannot know of."""
        return self.null_below is None and (self.order_effect == 0 or self.reference_first == 0.5)


SPREADS = {"no": 0.0, "small": 0.35, "moderate": 0.7, "large": 1.7}
SIZES = {"3 x 5": (5,) * 3, "3 x 10": (10,) * 3, "5 x 12": (12,) * 5, "8 x 20": (20,) * 8}
UNEQUAL = (3, 5, 10, 18, 24)
VERY_UNEQUAL = (60, 2, 2)
PAIRS = (20, 2, 2, 2, 2)
NOISY_BESIDE_PAIRS = "20 who vary 10 times as much and 4 x 2"
#: Sizes of sites at which what is told of noise that is not equal is looked at.
UNEQUALLY = (VERY_UNEQUAL, PAIRS, (40, 4, 4, 4, 4), (24, 3, 3))
NOISY, QUIET = "40 who vary 10 times as much and 4 x 4", "24 who vary 0.3 times as much and 2 x 3"


def cells() -> Iterator[Cell]:
    """All cells of the page, in its order."""
    for size, sizes in SIZES.items():
        for word, site_sd in SPREADS.items():
            yield Cell(f"{size}, {word} differences between sites", sizes, site_sd)
    for word in ("no", "moderate", "large"):
        yield Cell(f"5 unequal sites, {word} differences", UNEQUAL, SPREADS[word])
    for word in ("no", "moderate", "large"):
        yield Cell(f"60 and 2 and 2, {word} differences between sites", VERY_UNEQUAL, SPREADS[word])
        yield Cell(
            f"{NOISY}, {word} differences between sites", (40, 4, 4, 4, 4), SPREADS[word], spreads=(3, *[0.3] * 4)
        )
        yield Cell(f"{QUIET}, {word} differences between sites", (24, 3, 3), SPREADS[word], spreads=(0.3, 1, 1))
        yield Cell(f"20 and 4 x 2, {word} differences between sites", PAIRS, SPREADS[word])
        noisy = f"{NOISY_BESIDE_PAIRS}, {word} differences between sites"
        yield Cell(noisy, PAIRS, SPREADS[word], spreads=(3, *[0.3] * 4))
    for word in ("no", "moderate"):
        yield Cell(f"5 x 6 and 6 who travel, {word} differences", (6,) * 5, SPREADS[word], travelling=6)
        yield Cell(f"3 x 2 and 4 who travel, {word} differences", (2,) * 3, SPREADS[word], travelling=4)
    base = Cell("5 x 12, small differences, ", (12,) * 5, SPREADS["small"])
    yield replace(base, name=base.name + "order effect 0.5, order balanced", order_effect=0.5)
    yield replace(
        base, name=base.name + "order effect 0.5, 80 % reference first", order_effect=0.5, reference_first=0.8
    )
    yield replace(base, name=base.name + "nulls where values are low", null_below=1.0)


def truth(study: str) -> float:
    """The true difference of a study, by its name: every second one has none."""
    return float(study.rsplit("_", 1)[1])


def simulate(cell: Cell, count: int, seed: int = 0) -> pd.DataFrame:
    """Runners' means of ``count`` studies, each as an outcome of its own, as ``runner_contrasts`` takes them."""
    import pandas as pd

    rng = np.random.default_rng([seed, *cell.name.encode()])
    runners, sites = people(cell)
    rows = len(runners)
    effects = np.where(np.arange(count) % 2 == 0, cell.effect, 0.0)[:, None]
    second = np.where(rng.random((count, rows)) < cell.reference_first, 1.0, 0.0)
    reference, condition = values(cell, count, effects, second, rng)
    if cell.null_below is not None:
        usual = effects + np.median(reference, axis=1, keepdims=True)
        condition = np.where(condition < usual - cell.null_below * _RUNNER_LEVEL, np.nan, condition)
    names = [f"{number:05d}_{effect}" for number, effect in enumerate(effects[:, 0])]
    common = {
        "participant_id": np.tile(runners, 2 * count),
        "site": np.tile([f"site_{site}" for site in sites], 2 * count),
        "visit": "first",
        "condition": np.tile(np.repeat([REFERENCE, CONDITION], rows), count),
        "set_speed_m_per_s": 3.0,
        "event_method": "force",
        "outcome": np.repeat(names, 2 * rows),
        "mean_value": np.stack([reference, condition], axis=1).ravel(),
        "trial_count": 1,
    }
    return pd.DataFrame(common).dropna(subset=["mean_value"]).reset_index(drop=True)


def values(
    cell: Cell, count: int, shift: FloatArray, second: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """(count, n) each of the reference and the condition of ``people``.

    shift: true difference, of the mean runner at the mean site. second: 1 where the condition was run second, else 0.
    """
    runners, sites = people(cell)
    _, who = np.unique(runners, return_inverse=True)
    rows, persons, places = len(runners), int(who.max()) + 1, len(cell.sizes)
    level = rng.normal(0, _RUNNER_LEVEL, (count, persons))[:, who]
    level = level + rng.normal(0, _SITE_LEVEL, (count, places))[:, sites]
    own = rng.normal(0, _OWN_SD, (count, persons))[:, who]
    of_site = rng.normal(0, cell.site_sd, (count, places))[:, sites]
    reference = level + cell.order_effect * (1 - second) + rng.normal(0, _VISIT_SD, (count, rows))
    noise = rng.normal(0, _VISIT_SD, (count, rows))
    if cell.spreads:  # those who vary more or less do so in all of it; nobody travels in such studies
        times = np.array(cell.spreads)[sites]
        own, noise = own * times, noise * times
        reference = level + (reference - level) * times
    condition = level + shift + of_site + own + cell.order_effect * second + noise
    return reference, condition


def people(cell: Cell) -> tuple[np.ndarray, np.ndarray]:
    """Runners and sites, (n,) each: those who stay, then those who travel, once at every site."""
    stay = [(f"s{site}_{number}", site) for site, size in enumerate(cell.sizes) for number in range(size)]
    travel = [(f"t{number}", site) for number in range(cell.travelling) for site in range(len(cell.sizes))]
    runners, sites = zip(*stay, *travel, strict=True)
    return np.array(runners), np.array(sites)
