"""The curves that the analysis plan compares, out of the warehouse's own: runners' mean curves, their differences.

The statistics are in ``pipelines.science.statistics``: ``curve_bands`` and ``curve_sites``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipelines.pool.views import COMPARED_SPEED_SQL
from pipelines.science.frames import frame_of
from pipelines.science.statistics.comparisons import METHODS
from pipelines.science.statistics.curve_bands import FEWEST_RUNNERS, Band, Bounds, band, spans_beyond
from pipelines.science.statistics.curve_sites import FEWEST_SITES, across_sites
from schemas.compared import MEASURED_SPEED
from schemas.model import Table
from schemas.outcomes_planned_curves import PLANNED_CURVE_POINTS, PLANNED_CURVES
from schemas.plan import Plan
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

# Sides are averaged to trials, trials to cells; a runner's differences at several sites or speeds are averaged last, so
# that both sides of each are of one site, speed and event method: of each site the one by which most of its runners
# have a difference, as ``planned_groups.compared`` has it. In order, so that sums come out the same to the last digit.
_PAIRS = f"""
WITH methods AS (SELECT trial_id, any_value(event_method) AS event_method FROM footfalls GROUP BY trial_id),
speeds AS (SELECT trial_id, value AS measured FROM made_from.trial_values WHERE outcome = '{MEASURED_SPEED}'),
noted AS (SELECT DISTINCT trial_id, delivery_id FROM findings
          WHERE weight = 'notes' AND trial_id IS NOT NULL AND list_contains($notes_of, check_name)),
used AS (
  SELECT t.*, list_position($methods_in_order, m.event_method) AS method
  FROM trials t JOIN methods m USING (trial_id) LEFT JOIN speeds s USING (trial_id)
  WHERE list_contains($event_methods, m.event_method) AND t.set_speed_m_per_s IS NOT NULL
    AND NOT ($accepted_by_override AND t.accepted_by_override) AND NOT ($noted AND t.has_notes)
    AND (t.trial_id, t.delivery_id) NOT IN (SELECT (trial_id, delivery_id) FROM noted)
    AND ($largest_speed_off_fraction IS NULL
      OR coalesce(abs(s.measured / t.set_speed_m_per_s - 1) <= $largest_speed_off_fraction, false))),
per_trial AS (
  SELECT t.participant_id, t.site, {COMPARED_SPEED_SQL} AS speed, method, t.visit, t.condition, trial_id,
    c.point_number, avg(c.mean_value ORDER BY c.side) AS value
  FROM curves c JOIN used t USING (trial_id)
  WHERE c.quantity = $quantity AND isfinite(c.mean_value) AND t.visit IN ($visit, $reference_visit)
    AND t.condition IN ($condition, $reference_condition) GROUP BY ALL),
cells AS (
  SELECT participant_id, site, speed, method, visit, condition, point_number, avg(value ORDER BY value) AS value
  FROM per_trial GROUP BY ALL),
pairs AS (
  SELECT a.participant_id, a.site, a.speed, method, point_number, a.value - b.value AS difference
  FROM cells a JOIN cells b USING (participant_id, site, speed, method, point_number)
  WHERE a.visit = $visit AND b.visit = $reference_visit AND a.condition = $condition
    AND b.condition = $reference_condition),
best AS (
  SELECT site, arg_min(method, (-runners, method)) AS method
  FROM (SELECT site, method, count(DISTINCT participant_id) AS runners FROM pairs GROUP BY ALL) GROUP BY site)
SELECT participant_id, site, point_number, avg(difference ORDER BY difference) AS difference,
  count(*)::DOUBLE AS speeds FROM pairs SEMI JOIN best USING (site, method)
GROUP BY ALL ORDER BY participant_id, site, point_number
"""


def curve_tables(
    connection: duckdb.DuckDBPyConnection, plan: Plan, visits: Sequence[str], stamp: Mapping[str, Any]
) -> list[tuple[Table, pd.DataFrame]]:
    """Rows of ``planned_curves`` and of their points less provenance. stamp: as ``planned_contrasts`` takes it."""
    rows: list[dict[str, Any]] = []
    points: list[dict[str, Any]] = []
    left_out = plan.exclude.model_dump() | {"event_methods": list(plan.event_methods)}
    left_out |= {"notes_of": list(plan.exclude.notes_of), "methods_in_order": list(METHODS)}
    for one in plan.curves:
        first = one.visit if one.contrast == "condition" else visits[0]
        which = one.model_dump()
        sides = {name: word for name, word in which.items() if name != "contrast"} | {"reference_visit": first}
        own = _differences(connection, sides | left_out)
        runners = len(own.curves)
        found = band(own.curves) if runners >= FEWEST_RUNNERS else None
        wide, why = _across(own) if found is not None else (None, f"{runners} of at least {FEWEST_RUNNERS} runners")
        row = which | {"reference_visit": first, "runner_count": runners, "site_count": own.site_count, **stamp}
        rows.append(row | _told(found, runners) | _told_across(wide, why))
        if found is not None:
            points += [which | {"point_number": place} | point for place, point in enumerate(_points(found, wide))]
    return [
        (PLANNED_CURVES, frame_of(PLANNED_CURVES, rows)),
        (PLANNED_CURVE_POINTS, frame_of(PLANNED_CURVE_POINTS, points)),
    ]


@dataclass(frozen=True)
class Differences:
    """curves: (n, m) of the runners who have every point on both sides, each counting once; site_count: where they
    were. at_one_site: (k, m) curves of runners, each at one of his or her sites; sites: (k,) which that is."""

    curves: FloatArray
    site_count: int
    at_one_site: FloatArray
    sites: NDArray[Any]


def _differences(connection: duckdb.DuckDBPyConnection, asked: dict[str, Any]) -> Differences:
    found = connection.execute(_PAIRS, asked).df()
    if found.empty:
        nobody = np.empty((0, 0))
        return Differences(nobody, 0, nobody, np.empty(0, object))
    sums = found.assign(difference=found["difference"] * found["speeds"])
    sums = sums.groupby(["participant_id", "point_number"], observed=True)[["difference", "speeds"]].sum()
    table = (sums["difference"] / sums["speeds"]).unstack("point_number").dropna()
    own = found[found["participant_id"].isin(table.index)]
    each = own.pivot(index=["participant_id", "site"], columns="point_number", values="difference").dropna()
    at = _at_one_site([(str(runner), str(site)) for runner, site in each.index])
    return Differences(
        table.to_numpy(float),
        own["site"].nunique(),
        each.to_numpy(float)[list(at)],
        np.array([each.index[place][1] for place in at], object),
    )


def _at_one_site(pairs: Sequence[tuple[str, str]]) -> list[int]:
    """Which of (runner, site) pairs count where sites are compared: the sites of a runner who was at several would
    share what is the runner's own, so that he or she counts at the one of them with the fewest so far."""
    places: dict[str, list[int]] = {}
    for place, (runner, _) in enumerate(pairs):
        places.setdefault(runner, []).append(place)
    counts = Counter[str]()
    chosen = []
    for own in sorted(places.values(), key=len):
        best = min(own, key=lambda place: (counts[pairs[place][1]], pairs[place][1]))
        counts[pairs[best][1]] += 1
        chosen.append(best)
    return sorted(chosen)


def _across(own: Differences) -> tuple[Bounds | None, str | None]:
    """The band with sites as the unit, or why there is none."""
    count = len(set(own.sites.tolist()))
    if count < FEWEST_SITES:
        return None, f"{count} of at least {FEWEST_SITES} sites: with fewer a band over sites would be too wide to use"
    try:
        return across_sites(own.at_one_site, own.sites), None
    except ValueError as error:
        return None, str(error)


def _told(found: Band | None, runners: int) -> dict[str, Any]:
    if found is None:
        nothing = dict.fromkeys(("all_patterns", "largest_t_index", "threshold_index", "two_sided_p_value"))
        reason = f"{runners} of at least {FEWEST_RUNNERS} runners have the whole curve on both sides"
        return nothing | {"pattern_count": 0, "beyond_points": "none", "reason_null": reason}
    return {
        "pattern_count": found.patterns,
        "all_patterns": found.exact,
        "largest_t_index": float(np.nanmax(np.abs(found.t))) if np.isfinite(found.t).any() else None,
        "threshold_index": found.threshold,
        "two_sided_p_value": found.p_value,
        "beyond_points": _stretches(found.spans),
        "reason_null": None,
    }


def _told_across(found: Bounds | None, why: str | None) -> dict[str, Any]:
    if found is None:
        nothing = dict.fromkeys(("sites_largest_t_index", "sites_threshold_index", "sites_two_sided_p_value"))
        return nothing | {"sites_beyond_points": "none", "sites_reason_null": why}
    return {
        "sites_largest_t_index": float(np.nanmax(np.abs(found.t))),
        "sites_threshold_index": found.threshold,
        "sites_two_sided_p_value": found.p_value,
        "sites_beyond_points": _stretches(spans_beyond(found.t, found.threshold)),
        "sites_reason_null": None,
    }


def _stretches(spans: Sequence[tuple[int, int]]) -> str:
    return ", ".join(f"{start}-{end}" for start, end in spans) or "none"


def _points(found: Band, wide: Bounds | None) -> list[dict[str, float | None]]:
    columns = {
        "estimate_value": found.mean.tolist(),
        "standard_error_value": found.error.tolist(),
        "lower_limit_value": found.lower.tolist(),
        "upper_limit_value": found.upper.tolist(),
    }
    for name in ("mean", "lower", "upper"):
        values = [None] * len(found.mean) if wide is None else getattr(wide, name).tolist()
        columns[f"sites_{name}_value" if name == "mean" else f"sites_{name}_limit_value"] = values
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]
