"""The models of one planned comparison as columns: the mixed model with its covariates, and sites for random effects.

What falls back does so by rule, and the row says it. What is compared is in ``planned_groups``.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from typing import Any

from pipelines.science.statistics.comparisons import Group, why_no_interval
from pipelines.science.statistics.mixed_model import NoFit
from pipelines.science.statistics.one_stage import OneStage, one_stage
from pipelines.science.statistics.planned_groups import NONE, Asked, told_apart
from pipelines.science.statistics.pooled import mixed_row
from pipelines.science.statistics.pooling import effect_row, mean_effect
from schemas.processing import ContrastProcessing
from schemas.trial import FloatArray


def one_stage_row(asked: Asked, settings: ContrastProcessing) -> dict[str, Any]:
    """The mixed model with the covariates that can be told apart; what had to be left out is said."""
    group = asked.group
    why = why_no_interval(group, settings)
    if why is not None:
        return mixed_row(group, why) | {"covariates": NONE}
    used, design, left = told_apart(asked)
    found = _fit(group, design)
    if used and (isinstance(found, str) or found.fitted == "site_means"):
        left = [f"without {', '.join(used)}: {found if isinstance(found, str) else found.simpler}", *left]
        used, found = [], _fit(group, design[:, :0])
    row = mixed_row(group, found) | {"covariates": ", ".join(used) or NONE}
    row["rare_levels"] = "; ".join(asked.rare if "sex" in used else ()) or NONE
    if left:
        row["reason_simpler"] = "; ".join([*left, *([row["reason_simpler"]] if row["reason_simpler"] else [])])
    return row


def _fit(group: Group, design: FloatArray) -> OneStage | str:
    try:
        return one_stage(group.differences, group.runners, group.sites, design if design.shape[1] else None)
    except NoFit as error:
        return f"the mixed model has no answer: {error}"


def site_rows(group: Group, settings: ContrastProcessing) -> Iterator[dict[Hashable, Any]]:
    """Rows as ``meta_row`` takes them, of the sites that have an interval."""
    for site in sorted(set(group.sites.tolist())):
        at = group.sites == site
        sides = group.means[at], group.reference_means[at], group.differences[at]
        own = Group(group.runners[at], group.sites[at], *sides, {})
        if why_no_interval(own, settings) is None:
            row: dict[Hashable, Any] = {"site": site}
            row.update(effect_row(mean_effect(own.differences.tolist())))
            yield row
