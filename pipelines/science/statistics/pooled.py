"""Differences between conditions pooled over sites: one row per comparison and method. The models are elsewhere."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.frames import frame_of
from pipelines.science.statistics.comparisons import (
    ASKED,
    COMPARED,
    Families,
    Group,
    at_speeds,
    groups,
    why_no_interval,
    with_several,
)
from pipelines.science.statistics.mixed_model import NoFit
from pipelines.science.statistics.one_stage import OneStage, one_stage_each
from pipelines.science.statistics.pooling import TauMethod, effect_row, prediction_interval, random_effects
from pipelines.science.statistics.unequal_noise import hardly_seen, unequal_noise
from schemas.outcomes_contrasts import POOLED_CONTRASTS
from schemas.processing import ContrastProcessing, Processing

if TYPE_CHECKING:
    import pandas as pd

_META: dict[str, TauMethod] = {
    "random_effects_dersimonian_laird": "dersimonian_laird",
    "random_effects_restricted_likelihood": "restricted_likelihood",
}
#: Random effects of a single site would be that site.
FEWEST_SITES = 2
_NUMBERS = (
    "degrees_of_freedom",
    "two_sided_p_value",
    "between_site_sd_value",
    "runner_sd_value",
    "rest_sd_value",
    "cochran_q_index",
    "heterogeneity_percent",
    "prediction_lower_value",
    "prediction_upper_value",
)


def pooled_contrasts(
    contrasts: pd.DataFrame,
    sites: pd.DataFrame,
    processing: Processing,
    families: Families | None = None,
) -> pd.DataFrame:
    """``pooled_contrasts`` less provenance, from rows of ``runner_contrasts``: up to three methods for each comparison.

    sites: ``site_contrasts`` of the same rows. families: of the analysis plan; what it does not ask for, or not at this
    speed, is exploratory.
    Sites whose interval ``site_contrasts`` leaves null are not in the meta-analysis; the mixed model takes all runners.
    Where the mixed model has no answer its numbers are null and the reason stands beside them; the random effects have
    rows where two sites have an interval. Where sites found events by different methods, rows marked so go over all of
    them, beside those of each method.
    """
    contrasts = at_speeds(contrasts, processing.contrasts)
    contrasts = with_several(contrasts, contrasts["difference_value"].notna().astype(int))
    sites = with_several(sites, sites["runner_count"])
    usable: dict[tuple[str, ...], list[dict[Hashable, Any]]] = {}
    for site in sites.to_dict("records"):
        own = usable.setdefault(tuple(site[name] for name in COMPARED), [])
        own += [site] if site["standard_error_value"] == site["standard_error_value"] else []
    compared = list(groups(contrasts, COMPARED))
    models = _models([group for _, group in compared], processing.contrasts)
    rows: list[dict[str, Any]] = []
    for (key, group), model in zip(compared, models, strict=True):
        which: dict[str, Any] = {**dict(zip(COMPARED, key, strict=True)), **group.counted()}
        which["family"] = _family(which, families or {})
        rows.append(which | mixed_row(group, model))
        for name, method in _META.items() if len(usable[key]) >= FEWEST_SITES else ():
            meta = meta_row(group, usable[key], method, processing.contrasts)
            rows.append(which | meta | {"pooling_method": name})
    return frame_of(POOLED_CONTRASTS, rows)


def _family(which: Mapping[str, Any], families: Families) -> str:
    asked = tuple(which[name] for name in ASKED)
    at_any = families.get((*asked, None), "exploratory")
    return families.get((*asked, which["at_speed"]), at_any)


def _models(compared: Sequence[Group], settings: ContrastProcessing) -> list[OneStage | str]:
    """The mixed model of each comparison, or why it has none; those of the same runners at the same sites together."""
    found: list[OneStage | str] = [why_no_interval(group, settings) or "" for group in compared]
    alike: dict[tuple[Any, ...], list[int]] = {}
    for place, group in enumerate(compared):
        if not found[place]:
            alike.setdefault((*group.runners, *group.sites), []).append(place)
    for places in alike.values():
        first = compared[places[0]]
        differences = np.array([compared[place].differences for place in places])
        for place, model in zip(places, one_stage_each(differences, first.runners, first.sites), strict=True):
            found[place] = f"the mixed model has no answer: {model}" if isinstance(model, NoFit) else model
    return found


def mixed_row(group: Group, found: OneStage | str) -> dict[str, Any]:
    """What the mixed model found, or why nothing, as columns."""
    row = _nothing_pooled("one_stage_mixed_model", "kenward_roger")
    row |= {"runner_count": len(set(group.runners)), "site_count": len(set(group.sites))}
    row |= {"travelling_runner_count": _travelling(group)}
    if isinstance(found, str):
        return row | {"reason_null": found}
    lower = upper = None
    if found.between_site_sd is not None and row["site_count"] > 2:
        lower, upper = prediction_interval(found.effect, found.between_site_sd**2, row["site_count"])
    return (
        row
        | effect_row(found.effect)
        | {
            "degrees_of_freedom": found.freedom,
            "two_sided_p_value": found.p_value,
            "between_site_sd_value": found.between_site_sd,
            "runner_sd_value": found.runner_sd,
            "rest_sd_value": found.rest_sd,
            "prediction_lower_value": lower,
            "prediction_upper_value": upper,
            "interval": found.interval,
            "fitted_components": found.fitted,
            "singular": found.singular,
            "reason_simpler": found.simpler,
            "caution": _caution(row["site_count"], found.caution),
        }
    )


def _caution(sites: int, told: str | None) -> str | None:
    """What to know before an interval is used; told: of how runners vary."""
    two = "two sites leave one degree of freedom: the interval is wide however many runners there are"
    return "; ".join([*([two] if sites == 2 else []), *([told] if told else [])]) or None


def _travelling(group: Group) -> int:
    """Runners measured at more than one of the sites."""
    at = {(runner, site) for runner, site in zip(group.runners, group.sites, strict=True)}
    _, counts = np.unique([runner for runner, _ in at], return_counts=True)
    return int((counts > 1).sum())


def meta_row(
    group: Group, sites: Sequence[Mapping[Hashable, Any]], method: TauMethod, settings: ContrastProcessing
) -> dict[str, Any]:
    """Random effects of a group's sites as columns. sites: those with an interval, as in ``site_contrasts``."""
    row = _nothing_pooled("", settings.interval)
    count = len(sites)
    if count < FEWEST_SITES:
        return row | {"reason_null": f"{count} of at least {FEWEST_SITES} sites have an estimate with an interval"}
    used = {site["site"] for site in sites}
    runners = {runner for runner, site in zip(group.runners, group.sites, strict=True) if site in used}
    row |= {"runner_count": len(runners), "site_count": count, "travelling_runner_count": _travelling(group)}
    found = random_effects(
        [site["estimate_value"] for site in sites],
        [site["standard_error_value"] ** 2 for site in sites],
        method=method,
        interval=settings.interval,
    )
    lower, upper = found.prediction or (None, None)
    return (
        row
        | effect_row(found.effect)
        | {
            "degrees_of_freedom": found.freedom,
            "two_sided_p_value": found.p_value,
            "between_site_sd_value": float(np.sqrt(found.tau2)),
            "cochran_q_index": found.q,
            "heterogeneity_percent": found.i2_percent,
            "prediction_lower_value": lower,
            "prediction_upper_value": upper,
            "singular": found.tau2 == 0.0,
            "caution": _caution(count, _of_weights(group, used)),
        }
    )


def _of_weights(group: Group, used: set[str]) -> str | None:
    """That sites weigh by variances that are told apart, if they are. used: the sites."""
    mine = np.isin(group.sites, list(used))
    told = unequal_noise(group.differences[mine], group.sites[mine]) or hardly_seen(group.sites[mine], FEWEST_SITES)
    return None if told is None else f"{told}: where sites differ, the one that varies least can weigh too much"


def _nothing_pooled(method: str, interval: str) -> dict[str, Any]:
    words = ("reason_null", "reason_simpler", "fitted_components", "singular", "caution")
    counts = {"runner_count": 0, "site_count": 0, "travelling_runner_count": 0}
    return (
        {"pooling_method": method, "interval": interval}
        | counts
        | effect_row(None)
        | dict.fromkeys((*_NUMBERS, *words))
    )
