"""How often each method's interval holds the truth, on the way a study itself takes: contrasts, sites, pool."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from benchmarks.coverage.studies import REFERENCE, Cell, simulate, truth
from pipelines.science.statistics.contrasts import runner_contrasts, site_contrasts
from pipelines.science.statistics.pooled import pooled_contrasts
from pipelines.science.statistics.pooling import t_effect
from schemas.processing import ContrastProcessing, Processing

if TYPE_CHECKING:
    import pandas as pd

#: Methods of ``pooled_contrasts``, and one that is not: a t over all differences as if there were no sites.
METHODS = ("one_stage_mixed_model", "random_effects_restricted_likelihood", "random_effects_dersimonian_laird")
IGNORING_SITES = "ignoring_sites"
PROCESSING = Processing(contrasts=ContrastProcessing(reference_condition=REFERENCE))
Methods = Callable[["pd.DataFrame"], "pd.DataFrame"]


@dataclass(frozen=True)
class Measured:
    """What one method did in one cell.

    studies: with an answer. coverage, type_1, power: shares, the last two not a number where no study is without
    effect; width: of the interval, in the unit of the studies; bias: mean error.
    """

    cell: str
    method: str
    studies: int
    without_answer: int
    coverage: float
    type_1: float
    power: float
    bias: float
    width: float

    @property
    def is_in_aim(self) -> bool:
        """Coverage within 0.93 to 0.97 and type I at most 0.06, as exactly as the number of studies tells.

        Also where no study has an answer.
        """
        if not self.studies:
            return True
        slack = 2 * float(np.sqrt(0.95 * 0.05 / self.studies))
        return 0.93 - slack <= self.coverage <= 0.97 + slack and not self.type_1 > 0.06 + 1.5 * slack

    def plain(self) -> Mapping[str, Any]:
        """As a mapping, to keep."""
        return asdict(self)


def measure(cell: Cell, count: int, seed: int = 0) -> dict[str, Measured]:
    """Every method of the pool in ``count`` studies of one cell, and the t that ignores sites."""
    within = runner_contrasts(simulate(cell, count, seed), PROCESSING)
    pooled = pooled_contrasts(within, site_contrasts(within, PROCESSING), PROCESSING)
    found = {name: measured(cell.name, name, pooled[pooled["pooling_method"] == name], count) for name in METHODS}
    return found | {IGNORING_SITES: measured(cell.name, IGNORING_SITES, ignoring_sites(within), count)}


def ignoring_sites(within: pd.DataFrame) -> pd.DataFrame:
    """A paired t over all differences of each outcome, as if all were of one site and every row another runner."""
    import pandas as pd

    rows = []
    for outcome, differences in within.groupby("outcome", observed=True)["difference_value"]:
        error = float(differences.std(ddof=1) / np.sqrt(len(differences)))
        effect, p_value = t_effect(float(differences.mean()), error, len(differences) - 1)
        ends = {"lower_limit_value": effect.lower, "upper_limit_value": effect.upper}
        rows.append({"outcome": outcome, "estimate_value": effect.estimate, "two_sided_p_value": p_value, **ends})
    return pd.DataFrame(rows)


def measured(cell: str, method: str, rows: pd.DataFrame, studies: int) -> Measured:
    """What one method did in a cell. rows: its answers, outcomes being named as ``studies.truth`` takes them."""
    answered = rows.dropna(subset=["lower_limit_value"])
    true = answered["outcome"].astype(str).map(truth).to_numpy(float)
    lower, upper = (answered[name].to_numpy(float) for name in ("lower_limit_value", "upper_limit_value"))
    found = answered["two_sided_p_value"].to_numpy(float) < 0.05
    return Measured(
        cell,
        method,
        len(answered),
        studies - len(answered),
        float(((lower <= true) & (true <= upper)).mean()),
        float(found[true == 0].mean()),
        float(found[true != 0].mean()),
        float((answered["estimate_value"].to_numpy(float) - true).mean()),
        float((upper - lower).mean()),
    )
