"""Who was measured on all sides of a planned comparison, and of them who lacks a value on which: runners at sites.

What was recorded without giving a value is in no table of differences; it counts here. Pure functions of data frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipelines.science.statistics.comparisons import METHOD, SPEED
from schemas.compared import OF_ENERGY, compared_speed

if TYPE_CHECKING:
    import pandas as pd

    from schemas.plan import Plan, PlannedComparison

_NONE = "none"
_IN_REFERENCE = "no_value_in_reference"
#: Runner, site, event method.
Who = tuple[str, str, str]


def sides_of(one: PlannedComparison, first_visit: str) -> list[dict[str, str]]:
    """Visit and condition of each side, the one that is asked about first."""
    reference = one.condition if one.contrast == "visit" else str(one.reference_condition)
    visits = [one.visit] if one.contrast == "condition" else [one.visit, first_visit]
    conditions = [one.condition] if one.contrast == "visit" else [one.condition, reference]
    return [{"visit": visit, "condition": condition} for visit in visits for condition in conditions]


def of_side(rows: pd.DataFrame, side: dict[str, str]) -> pd.DataFrame:
    """The rows of one side."""
    for name, word in side.items():
        rows = rows[rows[name] == word]
    return rows


def of_kind(one: PlannedComparison, measured: pd.DataFrame) -> pd.DataFrame:
    """What was recorded of the kind that a comparison is about: running trials, or bouts with breathing gas."""
    return measured[measured["is_bout"] == (one.outcome in OF_ENERGY)]


def at_speed(one: PlannedComparison, rows: pd.DataFrame) -> pd.DataFrame:
    """The rows at the speed that is asked about; all if none is."""
    if one.set_speed_m_per_s is None:
        return rows
    return rows[(rows[SPEED] - compared_speed(one.set_speed_m_per_s)).abs() < 0.05]


def allowed(rows: pd.DataFrame, plan: Plan, left_out: set[str]) -> pd.DataFrame:
    """The rows by methods of the plan, less the trials that it leaves out."""
    return rows[~rows["trial_id"].isin(left_out) & rows[METHOD].isin([_NONE, *plan.event_methods])]


def together(rows: pd.DataFrame, sides: Sequence[dict[str, str]]) -> set[Who]:
    """(runner, site, event method) with all sides at one site, one speed and by one method."""
    names = ["participant_id", "site", METHOD, SPEED]
    cells = [set(of_side(rows, side)[names].itertuples(index=False, name=None)) for side in sides]
    return {(str(runner), str(site), str(method)) for runner, site, method, _ in set.intersection(*cells)}


def without_values(
    one: PlannedComparison,
    plan: Plan,
    first_visit: str,
    measured: pd.DataFrame,
    trials: pd.DataFrame,
    left_out: set[str],
) -> dict[Who, str]:
    """(runner, site, method) measured on all sides, of whom a side has no value -> reason as in ``runner_contrasts``.

    measured, trials: as ``planned_participants`` takes them. left_out: ``trial_id`` of what the plan leaves out.
    """
    sides = sides_of(one, first_visit)
    there = together(at_speed(one, allowed(of_kind(one, measured), plan, left_out)), sides)
    valued = at_speed(one, allowed(trials[trials["outcome"] == one.outcome], plan, left_out))
    names = ["participant_id", "site", METHOD]
    has = [set(of_side(valued, s)[names].astype(str).itertuples(index=False, name=None)) for s in sides]
    half = len(sides) // 2
    found = {}
    for who in there:
        asked, reference = (all(who in own for own in part) for part in (has[:half], has[half:]))
        if not (asked and reference):
            found[who] = "no_value_in_either" if asked == reference else "no_value" if reference else _IN_REFERENCE
    return found
