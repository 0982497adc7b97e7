"""How often each method's interval holds the truth, on the way a study itself takes: contrasts, sites, pool."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.coverage.rates import Measured, measured
from benchmarks.coverage.studies import REFERENCE, Cell, simulate
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
