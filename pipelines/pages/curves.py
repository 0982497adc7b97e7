"""Mean curves of each condition, from ``curves``: sides to trial, trials and sites to runner, then over runners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class Quantity:
    """One quantity that is drawn. key: its name in the warehouse. spread_digits: after the point, of numbers."""

    key: str
    title: str
    unit: str
    note: str
    digits: int


QUANTITIES = (
    Quantity("vertical_force_bw", "Vertical force", "body weights", "Only sites with force plates.", 2),
    Quantity("ankle_sagittal_angle_deg", "Ankle angle", "°", "Dorsiflexion is positive; 0° is standing.", 1),
    Quantity("knee_sagittal_angle_deg", "Knee angle", "°", "Flexion is positive; 0° is standing.", 1),
)


@dataclass(frozen=True)
class Curve:
    """One condition's mean over runners. points: (percent of contact, mean, SD or None with a single runner)."""

    condition: str
    runners: int
    points: tuple[tuple[int, float, float | None], ...]

    @property
    def peak(self) -> tuple[int, float]:
        """Percent and height of the highest point."""
        percent, mean, _ = max(self.points, key=lambda point: point[1])
        return percent, mean

    def at(self, percent: int) -> tuple[float, float | None] | None:
        """Mean and SD at a point."""
        return next(((mean, sd) for place, mean, sd in self.points if place == percent), None)


@dataclass(frozen=True)
class Curves:
    """Curves at one visit. reference: the condition the others are drawn against."""

    visit: str | None
    reference: str | None
    by_quantity: tuple[tuple[Quantity, tuple[Curve, ...]], ...]


_SQL = """
WITH per_trial AS (
  SELECT t.condition, t.participant_id, t.site, trial_id, c.quantity, c.point_number, avg(c.mean_value) AS value
  FROM curves c JOIN trials t USING (trial_id)
  WHERE {where} AND t.visit = ? AND c.curve_span = 'contact'
    AND list_contains(?, c.quantity) AND c.mean_value IS NOT NULL
  GROUP BY ALL),
per_site AS (
  SELECT condition, participant_id, site, quantity, point_number, avg(value) AS value FROM per_trial GROUP BY ALL),
per_runner AS (
  SELECT condition, participant_id, quantity, point_number, avg(value) AS value FROM per_site GROUP BY ALL)
SELECT quantity, condition, point_number, round(avg(value), 4), round(stddev_samp(value), 4), count(*)
FROM per_runner GROUP BY ALL ORDER BY ALL
"""


def read_curves(
    connection: duckdb.DuckDBPyConnection,
    conditions: Sequence[str],
    visits: Sequence[str],
    reference: str | None,
    where: str,
) -> Curves:
    """Mean curves at the first visit that has any; conditions in the order given, ``reference`` first.

    where: of ``ShownSpeed``.
    """
    keys = [q.key for q in QUANTITIES]
    with_curves = {
        row[0]
        for row in connection.execute(
            "SELECT DISTINCT t.visit FROM curves c JOIN trials t USING (trial_id) "
            f"WHERE {where} AND c.curve_span = 'contact' AND list_contains(?, c.quantity) AND c.mean_value IS NOT NULL",
            [keys],
        ).fetchall()
    }
    visit = next((v for v in visits if v in with_curves), None)
    if visit is None:
        return Curves(None, None, ())
    found: dict[tuple[str, str], list[tuple[int, float, float | None]]] = {}
    runners: dict[tuple[str, str], int] = {}
    for quantity, condition, point, mean, sd, count in connection.execute(
        _SQL.format(where=where), [visit, keys]
    ).fetchall():
        found.setdefault((quantity, condition), []).append((point, mean, sd))
        runners[quantity, condition] = max(runners.get((quantity, condition), 0), count)
    ordered = sorted(conditions, key=lambda condition: condition != reference)
    drawn = []
    for quantity in QUANTITIES:
        keyed = [(condition, (quantity.key, condition)) for condition in ordered]
        curves = tuple(Curve(c, runners[key], tuple(found[key])) for c, key in keyed if key in found)
        if curves:
            drawn.append((quantity, curves))
    return Curves(visit, reference if reference in conditions else ordered[0], tuple(drawn))
