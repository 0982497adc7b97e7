"""The curves that the analysis plan compares, out of the warehouse's own: runners' mean curves, their differences.

The statistics are in ``pipelines.science.statistics.curve_bands``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.pool.views import COMPARED_SPEED_SQL
from pipelines.science.frames import frame_of
from pipelines.science.statistics.comparisons import METHODS
from pipelines.science.statistics.curve_bands import FEWEST_RUNNERS, Band, band
from schemas.compared import MEASURED_SPEED
from schemas.model import Table
from schemas.outcomes_planned_curves import PLANNED_CURVE_POINTS, PLANNED_CURVES
from schemas.plan import Plan
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

# Sides are averaged to trials, trials to cells; a runner's differences at several sites or speeds are averaged last, so
# that both sides of each are of one site, speed and event method, of each site the one that is believed most of those
# with a difference, as ``planned_groups.compared`` has it. In order, so that sums come out the same to the last digit.
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
    AND NOT coalesce(abs(s.measured / t.set_speed_m_per_s - 1) > $largest_speed_off_fraction, false)),
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
  SELECT a.participant_id, a.site, a.speed, point_number, a.value - b.value AS difference
  FROM cells a JOIN cells b USING (participant_id, site, speed, method, point_number)
  WHERE a.visit = $visit AND b.visit = $reference_visit AND a.condition = $condition
    AND b.condition = $reference_condition
  QUALIFY method = min(method) OVER (PARTITION BY a.site))
SELECT participant_id, point_number, avg(difference ORDER BY difference) AS difference,
  list(DISTINCT site ORDER BY site) AS sites FROM pairs GROUP BY ALL ORDER BY participant_id, point_number
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
        curves, sites = _differences(connection, sides | left_out)
        found = band(curves) if len(curves) >= FEWEST_RUNNERS else None
        row = which | {"reference_visit": first, "runner_count": len(curves), "site_count": sites, **stamp}
        rows.append(row | _told(found, len(curves)))
        if found is not None:
            points += [which | {"point_number": place} | point for place, point in enumerate(_points(found))]
    return [
        (PLANNED_CURVES, frame_of(PLANNED_CURVES, rows)),
        (PLANNED_CURVE_POINTS, frame_of(PLANNED_CURVE_POINTS, points)),
    ]


def _differences(connection: duckdb.DuckDBPyConnection, asked: dict[str, Any]) -> tuple[FloatArray, int]:
    """(n, m) of the runners who have every point on both sides, and how many sites they were at."""
    found = connection.execute(_PAIRS, asked).df()
    if found.empty:
        return np.empty((0, 0)), 0
    table = found.pivot(index="participant_id", columns="point_number", values="difference").dropna()
    own = found[found["participant_id"].isin(table.index)]
    return table.to_numpy(float), len({site for sites in own["sites"] for site in sites})


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
        "beyond_points": ", ".join(f"{start}-{end}" for start, end in found.spans) or "none",
        "reason_null": None,
    }


def _points(found: Band) -> list[dict[str, float]]:
    columns = {
        "estimate_value": found.mean,
        "standard_error_value": found.error,
        "lower_limit_value": found.lower,
        "upper_limit_value": found.upper,
    }
    return [
        dict(zip(columns, values, strict=True)) for values in zip(*(c.tolist() for c in columns.values()), strict=True)
    ]
