"""What runners who were measured at several sites say of the sites: two tables. The formulas are in ``reliability``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.frames import frame_of
from pipelines.science.statistics.comparisons import METHOD, METHODS, SPEED
from pipelines.science.statistics.reliability import BELOW_ZERO, WithEnds, limits, reliability
from schemas.outcomes_reliability import RELIABILITY, SITE_AGREEMENT
from schemas.processing import Processing
from schemas.trial import FloatArray

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
    for same, at in _groups(_travelled(means)):
        each.append(same | _reliable(at, fewest))
        for one, other in combinations(range(len(at.sites)), 2):
            both = at.values[:, [one, other]]
            both = both[np.isfinite(both).all(axis=1)]
            if len(both):
                methods = {METHOD: at.methods[one], "other_event_method": at.methods[other]}
                row = same | {"site": at.sites[one], "other_site": at.sites[other], "runner_count": len(both)} | methods
                pairs.append(row | _agreed(both[:, 0] - both[:, 1], fewest))
    return frame_of(RELIABILITY, each), frame_of(SITE_AGREEMENT, pairs)


@dataclass(frozen=True)
class _AtSites:
    """Means of one outcome in one condition. values: (n, k) of n runners at k sites, NaN where a runner was not.

    methods: by which events were found at each site.
    """

    sites: tuple[str, ...]
    methods: tuple[str, ...]
    values: FloatArray


def _travelled(means: pd.DataFrame) -> pd.DataFrame:
    """One row per runner, site and what is the same, in this order, of runners who were at several sites."""
    kept = means.astype(dict.fromkeys(("participant_id", "site", "outcome", "visit", "condition", METHOD), object))
    kept = kept.dropna(subset=["mean_value"])
    kept = kept.assign(rank=kept[METHOD].map(METHODS.index)).sort_values("rank", kind="stable")
    kept = kept.drop_duplicates([*_SAME, "participant_id", "site"])
    kept = kept[kept.groupby([*_SAME, "participant_id"])["site"].transform("nunique") > 1]
    return kept.sort_values([*_SAME, "participant_id", "site"], ignore_index=True)


def _groups(rows: pd.DataFrame) -> Iterator[tuple[dict[str, Any], _AtSites]]:
    """The rows of each outcome, visit, condition and speed as arrays: data frames would cost more than the numbers."""
    if rows.empty:
        return
    keys = {name: rows[name].to_numpy() for name in _SAME}
    runners, sites = (rows[name].to_numpy(object) for name in ("participant_id", "site"))
    methods, means = rows[METHOD].to_numpy(object), rows["mean_value"].to_numpy(float)
    new = np.zeros(len(rows) - 1, bool)
    for key in keys.values():
        new |= key[1:] != key[:-1]
    for start, end in pairwise([0, *(np.flatnonzero(new) + 1).tolist(), len(rows)]):
        own = slice(start, end)
        who = np.cumsum(np.r_[0, runners[own][1:] != runners[own][:-1]])  # they come one after the other
        there = sorted(set(sites[own]))
        place = [there.index(site) for site in sites[own]]
        values = np.full((len(there), who[-1] + 1), np.nan).T
        values[who, place] = means[own]
        by = [set[str]() for _ in there]
        for column, method in zip(place, methods[own], strict=True):
            by[column].add(method)
        told = tuple(next(iter(words)) if len(words) == 1 else "several" for words in by)
        yield {name: key[start] for name, key in keys.items()}, _AtSites(tuple(there), told, values)


def _reliable(at: _AtSites, fewest: int) -> dict[str, Any]:
    """Of those at all of the sites of ``_best_sites``."""
    sites, most = _best_sites(at, fewest)
    own = at.values[:, [at.sites.index(site) for site in sites]]
    whole = own[np.isfinite(own).all(axis=1)]
    row = _nothing(RELIABILITY) | {"travelling_runner_count": len(at.values)}
    row |= {"runner_count": len(whole), "site_count": len(sites), "sites": ", ".join(sites)}
    if len(whole) < fewest:
        return row | {"reason_null": f"at most {most} of at least {fewest} runners were at the same two sites"}
    found = reliability(whole)
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


def _best_sites(table: _AtSites, fewest: int) -> tuple[list[str], int]:
    """The largest set of sites at all of which ``fewest`` runners were, of several as large the one with most of them;
    where there is none, the two sites with most. And how many were there.

    The runners at all sites of a set were at all sites of what they have in common, so only intersections of the
    runners' own sets need be looked at.
    """
    names = np.array(table.sites, object)
    at = [frozenset(names[has]) for has in np.isfinite(table.values)]
    common: set[frozenset[str]] = set()
    for own in dict.fromkeys(at):
        common |= {own, *(own & other for other in common)}
    pairs = {frozenset(pair) for own in common for pair in combinations(sorted(own), 2)}
    count = {sites: sum(sites <= own for own in at) for sites in common | pairs if len(sites) > 1}
    enough = [sites for sites in count if count[sites] >= fewest] or list(pairs)
    best = min(enough, key=lambda sites: (-len(sites), -count[sites], sorted(sites)))
    return sorted(best), count[best]


def _agreed(differences: FloatArray, fewest: int) -> dict[str, Any]:
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
