"""What runners who were measured at several sites say of the sites: two tables. The formulas are in ``reliability``."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any

from pipelines.science.frames import frame_of
from pipelines.science.statistics.comparisons import METHOD, METHODS, SPEED
from pipelines.science.statistics.reliability import BELOW_ZERO, WithEnds, limits, reliability
from schemas.outcomes_reliability import RELIABILITY, SITE_AGREEMENT
from schemas.processing import Processing

if TYPE_CHECKING:
    import pandas as pd

_SAME = ["outcome", "visit", "condition", SPEED]


def travelling_tables(means: pd.DataFrame, processing: Processing) -> tuple[pd.DataFrame, pd.DataFrame]:
    """``reliability`` and ``site_agreement`` less provenance, of means as ``runner_contrasts`` takes them.

    Of a runner whose events were found by several methods at a site, the mean by the one that is believed most.
    """
    fewest = processing.contrasts.fewest_runners
    each: list[dict[str, Any]] = []
    pairs: list[dict[str, Any]] = []
    for key, group in _travelled(means).groupby(_SAME, observed=True, sort=True):
        same = dict(zip(_SAME, key, strict=True))
        table = group.pivot(index="participant_id", columns="site", values="mean_value")
        each.append(same | _reliable(table, fewest))
        method = group.groupby("site", observed=True)[METHOD].agg(_one)
        for site, other in combinations(table.columns, 2):
            if len(both := table[[site, other]].dropna()):
                methods = {METHOD: method[site], "other_event_method": method[other]}
                row = same | {"site": site, "other_site": other, "runner_count": len(both)} | methods
                pairs.append(row | _agreed((both[site] - both[other]).to_numpy(float), fewest))
    return frame_of(RELIABILITY, each), frame_of(SITE_AGREEMENT, pairs)


def _travelled(means: pd.DataFrame) -> pd.DataFrame:
    """One row per runner, site and what is the same, of runners who were at several sites."""
    kept = means.astype(dict.fromkeys(("participant_id", "site", "outcome", "visit", "condition", METHOD), object))
    kept = kept.dropna(subset=["mean_value"])
    kept = kept.assign(rank=kept[METHOD].map(METHODS.index)).sort_values("rank", kind="stable")
    kept = kept.drop_duplicates([*_SAME, "participant_id", "site"])
    return kept[kept.groupby([*_SAME, "participant_id"])["site"].transform("nunique") > 1]


def _one(methods: pd.Series[Any]) -> str:
    words = set(methods)
    return str(words.pop()) if len(words) == 1 else "several"


def _reliable(table: pd.DataFrame, fewest: int) -> dict[str, Any]:
    """Of a table of runners by sites: of those at all of the sites of ``_best_sites``."""
    sites, most = _best_sites(table, fewest)
    whole = table[sites].dropna()
    row = _nothing(RELIABILITY) | {"travelling_runner_count": len(table)}
    row |= {"runner_count": len(whole), "site_count": len(sites), "sites": ", ".join(map(str, sites))}
    if len(whole) < fewest:
        return row | {"reason_null": f"at most {most} of at least {fewest} runners were at the same two sites"}
    found = reliability(whole.to_numpy(float))
    if found is None:
        return row | {"reason_null": "the runners' values do not vary"}
    return (
        row
        | {"interval_reason_null": BELOW_ZERO if found.absolute.lower is None else None}
        | _ends("icc_2_1", found.absolute, "ratio")
        | _ends("icc_3_1", found.consistent, "ratio")
        | {
            "between_site_sd_value": found.site_sd,
            "measurement_error_value": found.error,
            "measurement_error_at_one_site_value": found.error_within,
            "smallest_detectable_change_value": found.detectable,
        }
    )


def _best_sites(table: pd.DataFrame, fewest: int) -> tuple[list[str], int]:
    """The largest set of sites at all of which ``fewest`` runners were, of several as large the one with most of them;
    where there is none, the two sites with most. And how many were there.

    The runners at all sites of a set were at all sites of what they have in common, so only intersections of the
    runners' own sets need be looked at.
    """
    at = [frozenset(table.columns[has]) for has in table.notna().to_numpy()]
    common: set[frozenset[str]] = set()
    for own in dict.fromkeys(at):
        common |= {own, *(own & other for other in common)}
    pairs = {frozenset(pair) for own in common for pair in combinations(sorted(own), 2)}
    count = {sites: sum(sites <= own for own in at) for sites in common | pairs if len(sites) > 1}
    enough = [sites for sites in count if count[sites] >= fewest] or list(pairs)
    best = min(enough, key=lambda sites: (-len(sites), -count[sites], sorted(sites)))
    return sorted(best), count[best]


def _agreed(differences: Any, fewest: int) -> dict[str, Any]:
    row = _nothing(SITE_AGREEMENT)
    if len(differences) < fewest:
        return row | {"reason_null": f"{len(differences)} of at least {fewest} runners were at both sites"}
    found = limits(differences)
    return (
        row
        | _ends("bias", found.bias, "value")
        | {"sd_value": found.sd}
        | _ends("low_limit", found.low, "value")
        | _ends("high_limit", found.high, "value")
    )


def _ends(name: str, of: WithEnds, unit: str) -> dict[str, float | None]:
    return {f"{name}_{unit}": of.value, f"{name}_lower_{unit}": of.lower, f"{name}_upper_{unit}": of.upper}


def _nothing(table: Any) -> dict[str, Any]:
    return {field.name: None for field in table.fields if field.nullable}
