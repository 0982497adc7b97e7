"""Studies in which order, speed and mass change what is measured, analysed by a plan that allows for them.

They go the way of a plan: trials, their exclusions, differences, covariates, model. The unit is that of ``studies``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from benchmarks.coverage.measure import PROCESSING
from benchmarks.coverage.rates import Measured, measured
from benchmarks.coverage.studies import CONDITION, REFERENCE, SIZES, SPREADS, Cell, people, values
from pipelines.science.statistics.planned import planned_answers
from schemas.plan import Covariate, Plan, PlannedComparison

if TYPE_CHECKING:
    import pandas as pd


ALLOWED, NOT_ALLOWED = "mixed model, allowing for them", "mixed model, not allowing for them"
#: Outcomes of one study: they have order, speeds and masses in common, and nothing else.
_TOGETHER = 20
_SET_SPEED = 3.0
_STAMP = {"plan_sha256": "0" * 64, "plan_version": "1", "plan_state": "frozen"}


@dataclass(frozen=True)
class Adjusted:
    """One kind of study. base: sites, runners, order effect.

    faster: by how much the condition is run faster in the mean, m/s; speed_sd, site_speed_sd: what runners and sites
    differ by in that; speed_effect: of 1 m/s; mass_effect: of 1 kg, on the difference.
    """

    base: Cell
    allows_for: tuple[Covariate, ...]
    faster: float = 0.0
    speed_sd: float = 0.0
    site_speed_sd: float = 0.0
    speed_effect: float = 0.0
    mass_effect: float = 0.0

    @property
    def name(self) -> str:
        """What the page calls it."""
        return f"{self.base.name}; {', '.join(self.allows_for)}"


def adjusted_cells() -> Iterator[Adjusted]:
    """All cells of the page, in its order."""
    ordered = Cell("", SIZES["5 x 12"], SPREADS["small"], order_effect=0.5, reference_first=0.8)
    few = replace(ordered, name="3 x 5, small differences", sizes=SIZES["3 x 5"])
    many = replace(ordered, name="5 x 12, small differences")
    travelling = Cell("5 x 6 and 6 who travel, moderate differences", (6,) * 5, SPREADS["moderate"], travelling=6)
    alike = Cell("3 x 10, no differences", SIZES["3 x 10"], SPREADS["no"], order_effect=0.5, reference_first=0.8)
    yield Adjusted(few, ("order",))
    yield Adjusted(many, ("order",))
    yield Adjusted(many, ("order", "speed"), faster=0.1, speed_sd=0.2, speed_effect=2.0)
    yield Adjusted(replace(travelling, order_effect=0.5), ("order", "speed"), 0.1, 0.2, 0.0, 2.0)
    yield Adjusted(alike, ("order", "speed", "mass"), 0.1, 0.1, 0.2, 2.0, 0.03)


def measure_adjusted(cell: Adjusted, count: int, seed: int = 0) -> dict[str, Measured]:
    """The planned answer to ``count`` comparisons of one cell, with its covariates and without them."""
    import pandas as pd

    rng = np.random.default_rng([seed, *cell.name.encode()])
    found = pd.concat([_study(cell, min(_TOGETHER, count - done), rng) for done in range(0, count, _TOGETHER)])
    of_variant = ((ALLOWED, "main"), (NOT_ALLOWED, "without_covariates"))
    return {name: measured(cell.name, name, found[found["variant"] == variant], count) for name, variant in of_variant}


def _study(cell: Adjusted, outcomes: int, rng: np.random.Generator) -> pd.DataFrame:
    trials, names = _trials(cell, outcomes, rng)
    asked = [
        PlannedComparison(outcome=n, visit="first", condition=CONDITION, reference_condition=REFERENCE) for n in names
    ]
    plan = Plan(version="1", primary=tuple(asked), covariates=cell.allows_for, sensitivity=("without_covariates",))
    return planned_answers(trials, plan, PROCESSING, ["first"], _STAMP)[0]


def _trials(cell: Adjusted, outcomes: int, rng: np.random.Generator) -> tuple[pd.DataFrame, list[str]]:
    """Trials as ``planned_trials.kept`` takes them, one on each side of every runner at a site; and the outcomes."""
    import pandas as pd

    runners, sites = people(cell.base)
    _, who = np.unique(runners, return_inverse=True)
    rows = len(runners)
    second = rng.random(rows) < cell.base.reference_first
    faster = (
        cell.faster + rng.normal(0, cell.speed_sd, rows) + rng.normal(0, cell.site_speed_sd, sites.max() + 1)[sites]
    )
    mass = rng.normal(70, 10, who.max() + 1)[who]
    effects = np.where(np.arange(outcomes) % 2 == 0, cell.base.effect, 0.0)[:, None]
    shift = effects + cell.speed_effect * faster + cell.mass_effect * (mass - mass.mean())
    reference, condition = values(cell.base, outcomes, shift, second.astype(float), rng)
    names = [f"{number:05d}_{effect}" for number, effect in enumerate(effects[:, 0])]
    common: dict[str, Any] = {"participant_id": runners, "site": [f"site_{site}" for site in sites], "mass_kg": mass}
    sides = []
    for word, own, place, speed in (
        (REFERENCE, reference, np.where(second, 1, 2), np.full(rows, _SET_SPEED)),
        (CONDITION, condition, np.where(second, 2, 1), _SET_SPEED + faster),
    ):
        once = pd.DataFrame(common | {"condition": word, "condition_place": place, "measured_speed": speed})
        once["trial_id"] = [f"{word}-{row}" for row in range(rows)]
        sides += [once.assign(outcome=name, value=one) for name, one in zip(names, own, strict=True)]
    same = {"visit": "first", "set_speed_m_per_s": _SET_SPEED, "exact_set_speed": _SET_SPEED, "event_method": "force"}
    same |= {
        "doubt": np.nan,
        "sex": "undisclosed",
        "accepted_by_override": False,
        "noted": False,
        "noted_by_one": False,
    }
    return pd.concat(sides, ignore_index=True).assign(**same), names
