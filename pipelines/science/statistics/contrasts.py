"""Differences between conditions: within runners, then at each site, then pooled over sites.

Everything starts from one mean per runner, visit, condition and set speed, so that a runner counts once however long
the recordings, and no number mixes two speeds. Pooling itself is in ``pooling`` and ``mixed_model``.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipelines.science.frames import frame_of, typed_frame
from pipelines.science.statistics.mixed_model import fit_pairs
from pipelines.science.statistics.pooling import Effect, TauMethod, mean_effect, random_effects, upper_point
from schemas.outcomes_contrasts import POOLED_CONTRASTS, RUNNER_CONTRASTS, SITE_CONTRASTS
from schemas.processing import ContrastProcessing, Processing
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

_WHO = ("participant_id", "site", "visit")
_SPEED = "set_speed_m_per_s"
_METHOD = "event_method"
_COMPARED = ("outcome", "visit", "at_speed", _METHOD, "condition", "reference_condition")
_SEVERAL = "several"
_OWN_SPEED = "own speed"
#: Methods of finding events in the order in which they are believed; some outcomes need none.
METHODS = ("none", "force", "sensor", "markers")
_META: dict[str, TauMethod] = {
    "random_effects_dersimonian_laird": "dersimonian_laird",
    "random_effects_restricted_likelihood": "restricted_likelihood",
}


def runner_contrasts(means: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``runner_contrasts`` less provenance: a row per runner, site, visit, speed, method, outcome and pair.

    means: participant_id, site, visit, condition, set_speed_m_per_s, event_method, outcome, mean_value (of the runner's
    trials, footfalls having been averaged within each trial before) and trial_count; a row per runner, site, visit,
    condition, speed, method and outcome.
    """
    same = [*_WHO, _SPEED, _METHOD, "outcome"]
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
    contrasts = _at_speeds(contrasts, processing.contrasts)
    rows: list[dict[str, Any]] = []
    for key, group in _groups(contrasts, (*_COMPARED, "site")):
        reason = _why_no_interval(group, processing.contrasts)
        effect = mean_effect(group.differences.tolist()) if reason is None else None
        row = dict(zip((*_COMPARED, "site"), key, strict=True)) | _effect(effect)
        row |= {"runner_count": len(group.differences), "reason_null": reason}
        rows.append(row | {"estimate_value": float(group.differences.mean())})
    return frame_of(SITE_CONTRASTS, rows)


def pooled_contrasts(contrasts: pd.DataFrame, sites: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``pooled_contrasts`` less provenance, from rows of ``runner_contrasts``: three methods for every comparison.

    sites: ``site_contrasts`` of the same rows.
    Sites whose interval ``site_contrasts`` leaves null are not in the meta-analysis; the mixed model takes all runners.
    Where a method cannot be used its numbers are null and the reason stands beside them. Where sites found events by
    different methods, rows marked so go over all of them, beside those of each method.
    """
    contrasts = _with_several(_at_speeds(contrasts, processing.contrasts))
    sites = _with_several(sites)
    usable: dict[tuple[str, ...], list[dict[Hashable, Any]]] = {}
    for site in sites.to_dict("records"):
        own = usable.setdefault(tuple(site[name] for name in _COMPARED), [])
        own += [site] if site["standard_error_value"] == site["standard_error_value"] else []
    rows: list[dict[str, Any]] = []
    for key, group in _groups(contrasts, _COMPARED):
        compared = dict(zip(_COMPARED, key, strict=True))
        rows.append(compared | _mixed(group, processing.contrasts))
        for name, method in _META.items():
            meta = _meta(group, usable[key], method, processing.contrasts)
            rows.append(compared | meta | {"pooling_method": name})
    return frame_of(POOLED_CONTRASTS, rows)


def _at_speeds(contrasts: pd.DataFrame, settings: ContrastProcessing) -> pd.DataFrame:
    """The rows with ``at_speed``; where speeds are the runners' own, only of runners who have one."""
    if settings.speeds == "own":
        several = contrasts.groupby([*_WHO, "outcome"], observed=True)[_SPEED].transform("nunique") > 1
        return contrasts[~several].assign(at_speed=_OWN_SPEED)
    return contrasts.assign(at_speed=[f"{speed:.1f} m/s" for speed in contrasts[_SPEED]])


def _with_several(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows, and once more those of comparisons that sites tell by different methods: of each site the one that is
    believed most, all of them marked."""
    import pandas as pd

    if rows.empty:
        return rows
    same = [name for name in _COMPARED if name != _METHOD]
    rank = rows[_METHOD].astype(str).map(METHODS.index)
    best = rank == rank.groupby([rows[name].astype(str) for name in (*same, "site")]).transform("min")
    kept = rows[best]
    differ = kept.groupby([kept[name].astype(str) for name in same])[_METHOD].transform("nunique") > 1
    return pd.concat([rows.astype({_METHOD: object}), kept[differ].assign(**{_METHOD: _SEVERAL})], ignore_index=True)


@dataclass(frozen=True)
class _Group:
    """What a method takes of some rows of ``runner_contrasts``, (n,) each."""

    runners: NDArray[Any]
    sites: NDArray[Any]
    means: FloatArray
    reference_means: FloatArray
    differences: FloatArray


def _groups(contrasts: pd.DataFrame, keys: Sequence[str]) -> Iterator[tuple[tuple[str, ...], _Group]]:
    """The rows of each key in sorted order, as arrays: a data frame for each would cost more than the statistics."""
    if contrasts.empty:
        return
    ordered = contrasts.sort_values(list(keys), kind="stable")
    named = ("participant_id", "site")
    texts = {name: ordered[name].astype(str).to_numpy(object) for name in dict.fromkeys((*keys, *named))}
    numbers = [ordered[name].to_numpy(float) for name in ("condition_mean_value", "reference_mean_value")]
    differences = ordered["difference_value"].to_numpy(float)
    new = np.zeros(len(ordered) - 1, bool)
    for name in keys:
        new |= texts[name][1:] != texts[name][:-1]
    ends = [0, *(np.flatnonzero(new) + 1).tolist(), len(ordered)]
    for start, end in pairwise(ends):
        rows = slice(start, end)
        arrays = (*(texts[name][rows] for name in named), *(column[rows] for column in numbers), differences[rows])
        yield tuple(texts[name][start] for name in keys), _Group(*arrays)


def _why_no_interval(group: _Group, settings: ContrastProcessing) -> str | None:
    """Why the differences of a group of runners have no standard error; None if they have."""
    if len(group.differences) < settings.fewest_runners:
        return f"{len(group.differences)} of at least {settings.fewest_runners} runners"
    largest = max(np.abs(group.means).max(), np.abs(group.reference_means).max())
    # equal differences can differ in the last digit of the means they come from
    return None if group.differences.std() > 1e-12 * largest else "the runners' differences do not vary"


def _mixed(group: _Group, settings: ContrastProcessing) -> dict[str, Any]:
    row = _nothing_pooled("mixed_model", "within_runner_t")
    row |= {"runner_count": len(set(group.runners)), "site_count": len(set(group.sites))}
    if reason := _why_no_interval(group, settings):
        return row | {"reason_null": reason}
    fit = fit_pairs(group.reference_means, group.means, group.sites)
    if fit is None:
        return row | {"reason_null": "the mixed model does not converge"}
    # 2n values, n runners and one difference leave n - 1 degrees of freedom within runners
    reach = upper_point(len(group.differences) - 1) * fit.error
    return row | _effect(Effect(fit.estimate, fit.error, fit.estimate - reach, fit.estimate + reach))


def _meta(
    group: _Group, sites: Sequence[Mapping[Hashable, Any]], method: TauMethod, settings: ContrastProcessing
) -> dict[str, Any]:
    row = _nothing_pooled("", settings.interval)
    count = len(sites)
    if count < 2:
        return row | {"reason_null": f"{count} of at least 2 sites have an estimate with an interval"}
    used = {site["site"] for site in sites}
    runners = {runner for runner, site in zip(group.runners, group.sites, strict=True) if site in used}
    row |= {"runner_count": len(runners), "site_count": count}
    found = random_effects(
        [site["estimate_value"] for site in sites],
        [site["standard_error_value"] ** 2 for site in sites],
        method=method,
        interval=settings.interval,
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


def _nothing_pooled(method: str, interval: str) -> dict[str, Any]:
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
