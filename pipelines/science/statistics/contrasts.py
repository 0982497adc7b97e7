"""Differences between conditions: within runners, then at each site.

Everything starts from one mean per runner, visit, condition and set speed, so that a runner counts once however long
the recordings, and no number mixes two speeds. Pooling over sites is in ``pooled``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipelines.science.frames import frame_of, typed_frame
from pipelines.science.statistics.comparisons import COMPARED, METHOD, SPEED, WHO, at_speeds, groups, why_no_interval
from pipelines.science.statistics.pooling import effect_row, mean_effect
from schemas.outcomes_contrasts import RUNNER_CONTRASTS, SITE_CONTRASTS
from schemas.processing import Processing

if TYPE_CHECKING:
    import pandas as pd


def runner_contrasts(means: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``runner_contrasts`` less provenance: a row per runner, site, visit, speed, method, outcome and pair.

    means: participant_id, site, visit, condition, set_speed_m_per_s, event_method, outcome, mean_value (of the runner's
    trials, footfalls having been averaged within each trial before) and trial_count; a row per runner, site, visit,
    condition, speed, method and outcome.
    """
    same = [*WHO, SPEED, METHOD, "outcome"]
    renamed = {
        "condition": "reference_condition",
        "mean_value": "reference_mean_value",
        "trial_count": "reference_count",
    }
    pairs = means.merge(means.rename(columns=renamed), on=same)
    reference = processing.contrasts.reference_condition
    first, later = pairs["reference_condition"].astype(str), pairs["condition"].astype(str)
    pairs = pairs[first < later if reference is None else (first == reference) & (later != reference)]
    pairs = pairs.sort_values([*same, "reference_condition", "condition"], ignore_index=True)
    return typed_frame(
        RUNNER_CONTRASTS,
        pairs.rename(columns={"mean_value": "condition_mean_value"}).assign(
            difference_value=pairs["mean_value"] - pairs["reference_mean_value"],
            trial_count=pairs["trial_count"] + pairs["reference_count"],
        ),
    )


def site_contrasts(contrasts: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``site_contrasts`` less provenance, from rows of ``runner_contrasts``: each site's mean difference, paired t."""
    contrasts = at_speeds(contrasts, processing.contrasts)
    rows: list[dict[str, Any]] = []
    for key, group in groups(contrasts, (*COMPARED, "site")):
        reason = why_no_interval(group, processing.contrasts)
        effect = mean_effect(group.differences.tolist()) if reason is None else None
        row = dict(zip((*COMPARED, "site"), key, strict=True)) | effect_row(effect)
        row |= {"runner_count": len(group.differences), "reason_null": reason}
        rows.append(row | {"estimate_value": float(group.differences.mean())})
    return frame_of(SITE_CONTRASTS, rows)
