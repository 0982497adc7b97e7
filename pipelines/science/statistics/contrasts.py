"""Differences between conditions: within runners, then at each site, then pooled over sites.

Footfalls are averaged to trials and trials to runners before anything is compared, so that a runner counts once
however long the recording. Pooling itself is in ``pooling`` and ``mixed_model``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.frames import frame_of
from pipelines.science.statistics.mixed_model import fit_mixed
from pipelines.science.statistics.pooling import Effect, TauMethod, mean_effect, random_effects, upper_point
from schemas.outcomes_study import POOLED_CONTRASTS, RUNNER_CONTRASTS, SITE_CONTRASTS
from schemas.processing import ContrastProcessing, Processing

if TYPE_CHECKING:
    import pandas as pd

_WHO = ("participant_id", "site", "visit")
_COMPARED = ("outcome", "visit", "condition", "reference_condition")
_META: dict[str, TauMethod] = {
    "random_effects_dersimonian_laird": "dersimonian_laird",
    "random_effects_restricted_likelihood": "restricted_likelihood",
}


def long_form(wide: pd.DataFrame, outcomes: Sequence[str], qualifiers: Sequence[str] = ()) -> pd.DataFrame:
    """A wide table of outcomes as what ``runner_contrasts`` takes: one row per row of ``wide`` and outcome.

    wide: participant_id, site, visit, condition and trial_id (of what is averaged first: a trial, or a metabolic
    bout), the columns in ``outcomes``, and those in ``qualifiers``, whose words (muscle, side) go before the outcome's
    name, parted by slashes. Rows without a value, or without a qualifier, are left out.
    """
    kept = ["trial_id", *_WHO, "condition", *qualifiers]
    long = wide.melt(id_vars=kept, value_vars=list(outcomes), var_name="outcome", value_name="value")
    long = long.dropna(subset=["value", *qualifiers])
    words = [long[q].astype(str) for q in qualifiers]
    name = long["outcome"].astype(str)
    for word in reversed(words):
        name = word + "/" + name
    return long.assign(outcome=name, value=long["value"].astype("float64")).drop(columns=list(qualifiers))


def runner_contrasts(long: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``runner_contrasts`` less provenance: one row per runner, site, visit, outcome and pair of conditions they have.

    long: trial_id, participant_id, site, visit, condition, outcome, value; several rows of one trial (its footfalls)
    are averaged first, then the trials. Values that are missing or not finite are left out.
    """
    known = long[np.isfinite(long["value"].astype("float64"))]
    runner = [*_WHO, "outcome", "condition"]
    trials = known.groupby([*runner, "trial_id"], as_index=False)["value"].mean()
    means = trials.groupby(runner, as_index=False).agg(mean=("value", "mean"), trials=("value", "size"))
    rows: list[dict[str, Any]] = []
    for key, group in means.groupby([*_WHO, "outcome"]):
        own = {c: (m, n) for c, m, n in zip(group["condition"], group["mean"], group["trials"], strict=True)}
        for condition, reference in _pairs(own, processing.contrasts):
            (mean, count), (reference_mean, reference_count) = own[condition], own[reference]
            rows.append(
                dict(zip((*_WHO, "outcome"), key, strict=True))
                | {
                    "condition": condition,
                    "reference_condition": reference,
                    "condition_mean_value": mean,
                    "reference_mean_value": reference_mean,
                    "difference_value": mean - reference_mean,
                    "trial_count": int(count + reference_count),
                }
            )
    return frame_of(RUNNER_CONTRASTS, rows)


def site_contrasts(contrasts: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``site_contrasts`` less provenance, from rows of ``runner_contrasts``: each site's mean difference, paired t."""
    rows: list[dict[str, Any]] = []
    for key, group in contrasts.groupby([*_COMPARED, "site"]):
        differences = group["difference_value"].to_numpy(float)
        reason = _why_no_interval(group, processing.contrasts)
        row = dict(zip((*_COMPARED, "site"), key, strict=True)) | {
            "runner_count": len(differences),
            "reason_null": reason,
        }
        effect = mean_effect(differences.tolist()) if reason is None else None
        rows.append(row | _effect(effect) | {"estimate_value": float(differences.mean())})
    return frame_of(SITE_CONTRASTS, rows)


def pooled_contrasts(contrasts: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``pooled_contrasts`` less provenance, from rows of ``runner_contrasts``: three methods for every comparison.

    Sites whose interval ``site_contrasts`` leaves null are not in the meta-analysis; the mixed model takes all runners.
    Where a method cannot be used its numbers are null and the reason stands beside them.
    """
    sites = site_contrasts(contrasts, processing)
    usable = dict(tuple(sites[sites["reason_null"].isna()].groupby(list(_COMPARED))))
    rows: list[dict[str, Any]] = []
    for key, group in contrasts.groupby(list(_COMPARED)):
        compared = dict(zip(_COMPARED, key, strict=True))
        rows.append(compared | _mixed(group, processing.contrasts))
        for name, method in _META.items():
            rows.append(
                compared | {"pooling_method": name} | _meta(group, usable.get(key), method, processing.contrasts)
            )
    return frame_of(POOLED_CONTRASTS, rows)


def _pairs(conditions: dict[str, Any], settings: ContrastProcessing) -> Iterator[tuple[str, str]]:
    """(condition, reference) pairs."""
    reference = settings.reference_condition
    if reference is None:
        yield from ((later, first) for first, later in combinations(sorted(conditions), 2))
    elif reference in conditions:
        yield from ((other, reference) for other in sorted(conditions) if other != reference)


def _why_no_interval(group: pd.DataFrame, settings: ContrastProcessing) -> str | None:
    """Why the differences of a group of runners have no standard error; None if they have."""
    if len(group) < settings.fewest_runners:
        return f"{len(group)} of at least {settings.fewest_runners} runners"
    means = group[["condition_mean_value", "reference_mean_value"]].to_numpy(float)
    # equal differences can differ in the last digit of the means they come from
    varies = group["difference_value"].to_numpy(float).std() > 1e-12 * np.abs(means).max()
    return None if varies else "the runners' differences do not vary"


def _mixed(group: pd.DataFrame, settings: ContrastProcessing) -> dict[str, Any]:
    runners = (group["site"].astype(str) + "\n" + group["participant_id"].astype(str)).to_numpy()
    row = _nothing_pooled(group, "mixed_model", "within_runner_t")
    row |= {"runner_count": group["participant_id"].nunique(), "site_count": group["site"].nunique()}
    if reason := _why_no_interval(group, settings):
        return row | {"reason_null": reason}
    n = len(group)
    values = np.concatenate([group["reference_mean_value"].to_numpy(float), group["condition_mean_value"]])
    fixed = np.column_stack([np.ones(2 * n), np.repeat([0.0, 1.0], n)])
    twice = np.tile(runners, 2)
    if row["site_count"] > 1:
        fit = fit_mixed(values, fixed, np.tile(group["site"].astype(str).to_numpy(), 2), nested=twice)
    else:
        fit = fit_mixed(values, fixed, twice)
    if fit is None:
        return row | {"reason_null": "the mixed model does not converge"}
    estimate, error = float(fit.estimates[1]), float(fit.errors[1])
    # 2n values, n runners and one difference leave n - 1 degrees of freedom within runners
    reach = upper_point(n - 1) * error
    return row | _effect(Effect(estimate, error, estimate - reach, estimate + reach))


def _meta(
    group: pd.DataFrame, sites: pd.DataFrame | None, method: TauMethod, settings: ContrastProcessing
) -> dict[str, Any]:
    row = _nothing_pooled(group, "", settings.interval)
    del row["pooling_method"]
    count = 0 if sites is None else len(sites)
    if sites is None or count < 2:
        return row | {"reason_null": f"{count} of at least 2 sites have an estimate with an interval"}
    used = group[group["site"].isin(sites["site"])]
    row |= {"runner_count": used["participant_id"].nunique(), "site_count": count}
    errors = sites["standard_error_value"].to_numpy(float)
    found = random_effects(
        sites["estimate_value"].tolist(), (errors**2).tolist(), method=method, interval=settings.interval
    )
    lower, upper = found.prediction or (None, None)
    return (
        row
        | _effect(found.effect)
        | {
            "between_site_sd_value": float(np.sqrt(found.tau2)),
            "cochran_q_index": found.q,
            "heterogeneity_percent": found.i2_percent,
            "prediction_lower_value": lower,
            "prediction_upper_value": upper,
        }
    )


def _nothing_pooled(group: pd.DataFrame, method: str, interval: str) -> dict[str, Any]:
    numbers = ("between_site_sd_value", "cochran_q_index", "heterogeneity_percent")
    limits = ("prediction_lower_value", "prediction_upper_value")
    counts = {"runner_count": 0, "site_count": 0}
    return (
        {"pooling_method": method, "interval": interval, "reason_null": None}
        | counts
        | _effect(None)
        | dict.fromkeys((*numbers, *limits))
    )


def _effect(effect: Effect | None) -> dict[str, float | None]:
    names = ("estimate_value", "standard_error_value", "lower_limit_value", "upper_limit_value")
    if effect is None:
        return dict.fromkeys(names)
    return dict(zip(names, (effect.estimate, effect.standard_error, effect.lower, effect.upper), strict=True))
