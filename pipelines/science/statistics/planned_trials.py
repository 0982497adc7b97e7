"""From trials to runners' differences as an analysis plan wants them: what is left out, and what covariates are.

Covariates of a difference are differences themselves: by how many places a condition came later, by how much faster it
was run. They go the way of an outcome, so that they are made of the same trials, sides and visits as what they explain.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipelines.science.statistics.comparisons import METHOD, SPEED, WHO
from pipelines.science.statistics.contrasts import runner_contrasts
from schemas.compared import OF_ENERGY
from schemas.plan import Exclusions, Plan
from schemas.processing import Processing

if TYPE_CHECKING:
    import pandas as pd

#: Names that no outcome can have.
ORDER, MEASURED = "@order", "@speed"
_CELL = [*WHO, SPEED, METHOD, "condition", "outcome"]
_SAME_TRIAL = [*WHO, "condition", "trial_id"]


def kept(trials: pd.DataFrame, exclude: Exclusions) -> pd.DataFrame:
    """The trials that exclusions leave.

    trials: a row per trial and outcome, participant_id, site, visit, condition, set_speed_m_per_s (to 0.1),
    event_method, trial_id, outcome, value, doubt (its standard uncertainty), condition_place (in the session as it was
    run, from 1), measured_speed, exact_set_speed (m/s), accepted_by_override, noted,
    noted_by_one (of the plan's checks), mass_kg, sex.
    """
    left = exclude.accepted_by_override & trials["accepted_by_override"].astype(bool)
    left |= exclude.noted & trials["noted"].astype(bool)
    left |= trials["noted_by_one"].astype(bool)
    if exclude.largest_speed_off_fraction is not None:
        off = (trials["measured_speed"] / trials["exact_set_speed"] - 1).abs()
        near = (off <= exclude.largest_speed_off_fraction) | trials["outcome"].isin(OF_ENERGY)
        left |= ~near  # also where no speed was measured: nobody can say that it was kept
    return trials[~left]


def differences(
    trials: pd.DataFrame, plan: Plan, processing: Processing, visits: Sequence[str], *, weighed: bool
) -> pd.DataFrame:
    """Rows of ``runner_contrasts`` of every comparison of the plan, ``ORDER`` and ``MEASURED`` being outcomes too.

    weighed: a runner's trials count by 1 over the square of their standard uncertainty, where all of them have one.
    """
    import pandas as pd

    means = pd.concat([_means(trials, weighed=weighed), _order(trials), _measured_speed(trials)], ignore_index=True)
    asked = (*plan.primary, *plan.secondary)
    parts = []
    for reference in sorted({str(one.reference_condition) for one in asked}):
        settings = processing.contrasts.model_copy(update={"reference_condition": reference})
        own = processing.model_copy(update={"contrasts": settings})
        parts.append(runner_contrasts(means, own, visits))
    rows = pd.concat(parts, ignore_index=True)
    return rows.drop_duplicates([*_CELL, "contrast", "reference_visit", "reference_condition"], ignore_index=True)


def _means(trials: pd.DataFrame, *, weighed: bool) -> pd.DataFrame:
    weights = 1 / trials["doubt"].where(trials["doubt"] > 0) ** 2
    whole = weights.notna().groupby([trials[name] for name in _CELL]).transform("all") & weighed
    weights = weights.where(whole, 1.0)
    summed = trials.assign(weight=weights, product=weights * trials["value"]).groupby(_CELL, observed=True)
    found = summed.agg(weight=("weight", "sum"), product=("product", "sum"), trial_count=("value", "size"))
    found["mean_value"] = found["product"] / found["weight"]
    return found.reset_index().drop(columns=["weight", "product"])


def _of_trials(trials: pd.DataFrame, column: str, name: str) -> pd.DataFrame:
    """Mean of what a trial has once, whatever its outcomes."""
    once = trials.drop_duplicates([*_SAME_TRIAL, METHOD]).assign(outcome=name)
    found = once.dropna(subset=[column]).groupby(_CELL, observed=True)[column].agg(["mean", "size"])
    return found.reset_index().rename(columns={"mean": "mean_value", "size": "trial_count"})


def _measured_speed(trials: pd.DataFrame) -> pd.DataFrame:
    return _of_trials(trials, "measured_speed", MEASURED)


def _order(trials: pd.DataFrame) -> pd.DataFrame:
    """The place of a condition in its session as it was run; never among those alone that are left here."""
    return _of_trials(trials, "condition_place", ORDER)
