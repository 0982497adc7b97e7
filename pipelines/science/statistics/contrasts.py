"""Differences between conditions and between visits: within runners, then at each site.

Everything starts from one mean per runner, visit, condition and set speed, so that a runner counts once however long
the recordings, and no number mixes two speeds. Pooling over sites is in ``pooled``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from pipelines.science.frames import frame_of, typed_frame
from pipelines.science.statistics.comparisons import COMPARED, METHOD, SPEED, WHO, at_speeds, groups, why_no_interval
from pipelines.science.statistics.pooling import effect_row, mean_effect
from schemas.outcomes_contrasts import RUNNER_CONTRASTS, SITE_CONTRASTS
from schemas.processing import Processing

if TYPE_CHECKING:
    import pandas as pd

_CELL = [*WHO, SPEED, METHOD, "condition"]
_VALUES = {"mean_value": "condition_mean_value", "trial_count": "condition_count"}
_REFERENCE = {"mean_value": "reference_mean_value", "trial_count": "reference_count"}


def runner_contrasts(means: pd.DataFrame, processing: Processing, visits: Sequence[str] = ()) -> pd.DataFrame:
    """``runner_contrasts`` less provenance: a row per runner, site, speed, method, outcome and comparison.

    means: participant_id, site, visit, condition, set_speed_m_per_s, event_method, outcome, mean_value (of the runner's
    trials, footfalls having been averaged within each trial before) and trial_count; a row per runner, site, visit,
    condition, speed, method and outcome. visits: in the order of the plan; later ones are compared with the first.

    A runner who was measured on both sides of a comparison but has no value of the outcome on one has a row without a
    difference, if anybody at the site has one: what is lost may go with what was to be measured.
    """
    import pandas as pd

    means = means.astype(dict.fromkeys(("participant_id", "site", "visit", "condition", METHOD, "outcome"), object))
    recorded = means[["site", METHOD, "outcome"]].drop_duplicates()
    full = means[_CELL].drop_duplicates().merge(recorded, on=["site", METHOD]).merge(means, how="left")
    conditions = _conditions(full, processing)
    parts = [conditions]
    if visits:
        parts.append(_visits(full.rename(columns=_VALUES), visits, ["condition"], "visit"))
        parts[1]["reference_condition"] = parts[1]["condition"]
        named = {"difference_value": "condition_mean_value", "trial_count": "condition_count"}
        kept = [*_CELL, "reference_condition", "outcome", *named]
        differences = conditions[kept].rename(columns=named)
        parts.append(_visits(differences, visits, ["condition", "reference_condition"], "interaction"))
    pairs = pd.concat(parts, ignore_index=True)
    lacks, also = pairs["condition_mean_value"].isna(), pairs["reference_mean_value"].isna()
    pairs["reason_null"] = pd.Series(None, index=pairs.index, dtype=object)
    for which, reason in ((lacks, "no_value"), (also, "no_value_in_reference"), (lacks & also, "no_value_in_either")):
        pairs.loc[which, "reason_null"] = reason
    order = [*WHO, SPEED, METHOD, "outcome", "contrast", "reference_visit", "reference_condition", "condition"]
    return typed_frame(RUNNER_CONTRASTS, pairs.sort_values(order, ignore_index=True))


def _conditions(full: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """Each condition less the reference, at one visit."""
    renamed = {"condition": "reference_condition", **_REFERENCE}
    pairs = full.rename(columns=_VALUES).merge(full.rename(columns=renamed), on=[*WHO, SPEED, METHOD, "outcome"])
    reference = processing.contrasts.reference_condition
    first, later = pairs["reference_condition"].astype(str), pairs["condition"].astype(str)
    pairs = pairs[first < later if reference is None else (first == reference) & (later != reference)]
    return _less(pairs.assign(contrast="condition", reference_visit=pairs["visit"]))


def _visits(rows: pd.DataFrame, visits: Sequence[str], apart: Sequence[str], contrast: str) -> pd.DataFrame:
    """Each later visit less the first of the plan, of rows with condition_mean_value and condition_count."""
    first = rows[rows["visit"] == visits[0]].rename(
        columns={
            "visit": "reference_visit",
            "condition_mean_value": "reference_mean_value",
            "condition_count": "reference_count",
        }
    )
    later = rows[rows["visit"].isin(visits[1:])]
    same = ["participant_id", "site", SPEED, METHOD, "outcome", *apart]
    return _less(later.merge(first, on=same).assign(contrast=contrast))


def _less(pairs: pd.DataFrame) -> pd.DataFrame:
    return pairs.assign(
        difference_value=pairs["condition_mean_value"] - pairs["reference_mean_value"],
        trial_count=(pairs["condition_count"].fillna(0) + pairs["reference_count"].fillna(0)).astype("int64"),
    )


def site_contrasts(contrasts: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``site_contrasts`` less provenance, from rows of ``runner_contrasts``: each site's mean difference, paired t."""
    contrasts = at_speeds(contrasts, processing.contrasts)
    rows: list[dict[str, Any]] = []
    for key, group in groups(contrasts, (*COMPARED, "site")):
        reason = why_no_interval(group, processing.contrasts)
        effect = mean_effect(group.differences.tolist()) if reason is None else None
        row = dict(zip((*COMPARED, "site"), key, strict=True)) | effect_row(effect) | group.counted()
        row |= {"runner_count": len(group.differences), "reason_null": reason}
        mean = float(group.differences.mean()) if len(group.differences) else None
        rows.append(row | {"estimate_value": mean})
    return frame_of(SITE_CONTRASTS, rows)
