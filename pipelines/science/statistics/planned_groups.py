"""Who is compared in one analysis of a plan, and what is known of each: differences and covariates, as arrays.

Trials became differences in ``planned_trials``; the models come after, in ``planned``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.statistics.comparisons import ASKED, METHOD, METHODS, SPEED, WHO, Group
from pipelines.science.statistics.planned_trials import MEASURED, ORDER
from schemas.plan import Plan, PlannedComparison
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

NONE = "none"


@dataclass(frozen=True)
class Asked:
    """What one analysis is made of.

    covariates: (n, c) of the n differences, as they were measured; names: of them; unknown: those that the plan wants
    and nobody has; lacking: runners at sites who have a difference and not all covariates, and are left out. orders:
    (n,) by how many places the condition came later, not a number where that is not known.
    """

    group: Group
    covariates: FloatArray
    names: Sequence[str]
    unknown: Sequence[str]
    lacking: int
    orders: FloatArray


def compared(one: PlannedComparison, rows: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The rows of one comparison and of its covariates, of each site those by the method that is believed most."""
    mine = np.ones(len(rows), bool)
    for name in ASKED[1:]:
        mine &= (rows[name].astype(str) == str(getattr(one, name))).to_numpy()
    mine &= rows["outcome"].astype(str).isin([one.outcome, ORDER, MEASURED]).to_numpy()
    mine &= rows[METHOD].astype(str).isin([NONE, *plan.event_methods]).to_numpy()
    if one.set_speed_m_per_s is not None:
        mine &= (rows[SPEED] - round(one.set_speed_m_per_s, 1)).abs().to_numpy() < 0.05
    own = rows[mine].astype(dict.fromkeys((*WHO, METHOD, "outcome", "reason_null"), object))
    told = own[(own["outcome"] == one.outcome) & own["difference_value"].notna()]
    best = told.assign(rank=told[METHOD].map(METHODS.index)).groupby("site")["rank"].min()
    rank = own[METHOD].map(METHODS.index)
    first = rank.groupby(own["site"]).transform("min")
    wanted = own["site"].map(best).fillna(first)
    return own[rank == wanted]


def grouped(one: PlannedComparison, own: pd.DataFrame, plan: Plan, about: pd.DataFrame) -> Asked:
    """The runners' differences, each a mean over speeds. own: of ``compared``. about: by runner, mass_kg and sex."""
    mine = own[own["outcome"] == one.outcome]
    keys = ["participant_id", "site"]
    sides = ["difference_value", "condition_mean_value", "reference_mean_value"]
    with_value = mine.dropna(subset=["difference_value"]).groupby(keys, sort=True)[sides].mean()
    without = mine[mine["difference_value"].isna()].drop_duplicates(keys).set_index(keys)
    lacks = Counter(without.loc[~without.index.isin(with_value.index), "reason_null"].tolist())
    columns: dict[str, Any] = {}
    for name, outcome in (("order", ORDER), ("speed", MEASURED)):
        matched = own[own["outcome"] == outcome].merge(
            mine.loc[mine["difference_value"].notna(), [*keys, SPEED, METHOD]], on=[*keys, SPEED, METHOD]
        )
        columns[name] = matched.groupby(keys)["difference_value"].mean().reindex(with_value.index)
    for name, column in (("mass", "mass_kg"), ("sex", "sex")):
        columns[name] = about[column].reindex(with_value.index.get_level_values(0)).set_axis(with_value.index)
    names: list[str] = [name for name in plan.covariates if columns[name].notna().any()]
    unknown = [name for name in plan.covariates if name not in names]
    table = np.array([columns[name].to_numpy(float) for name in names]).reshape(len(names), len(with_value)).T
    has = np.isfinite(table).all(axis=1)
    runners, sites = (with_value.index.get_level_values(place).to_numpy(object)[has] for place in (0, 1))
    numbers = with_value.to_numpy(float)[has]
    group = Group(runners, sites, numbers[:, 1], numbers[:, 2], numbers[:, 0], lacks)
    orders = columns["order"].to_numpy(float)[has]
    return Asked(group, table[has], names, unknown, int((~has).sum()), orders)


def told_apart(asked: Asked) -> tuple[list[str], FloatArray, list[str]]:
    """Names and columns of the covariates that a model can have, and why others are left out.

    Order and speed stay as they are, the answer being for equal places and speeds; mass and sex are centred. One that
    is the same for all and at its point of reference changes nothing and is left out without a word.
    """
    used: list[str] = []
    columns = [np.ones(len(asked.covariates))]
    left = [f"without {name}: it is known of no runner" for name in asked.unknown]
    for name, column in zip(asked.names, asked.covariates.T, strict=True):
        own = column if name in ("order", "speed") else column - column.mean()
        if np.abs(own).max(initial=0.0) < 1e-9:
            continue
        tried = np.column_stack([*columns, own / np.abs(own).max()])
        if np.linalg.matrix_rank(tried, tol=1e-6) < tried.shape[1]:
            left.append(f"without {name}: it is the same for all, so what it does cannot be told from the difference")
            continue
        used.append(name)
        columns.append(own)
    return used, np.column_stack(columns)[:, 1:], left
