"""Who of all runners with an accepted trial is in a planned answer, and why each of the others is not.

A runner counts once, with the first reason that holds, in the order in which trials are lost on the way to a
difference. What is counted of those who were measured on both sides stands in ``planned_contrasts`` as well, there per
runner at a site; drop-out stands here only.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from pipelines.science.frames import frame_of
from pipelines.science.statistics.comparisons import ASKED
from pipelines.science.statistics.planned import asked_speed
from pipelines.science.statistics.planned_groups import compared, of_comparison
from pipelines.science.statistics.planned_measured import allowed, at_speed, of_kind, of_side, sides_of, together
from pipelines.science.statistics.planned_trials import differences, kept
from schemas.outcomes_planned import PLANNED_PARTICIPANTS
from schemas.plan import Plan, PlannedComparison
from schemas.processing import Processing

if TYPE_CHECKING:
    import pandas as pd


def planned_participants(
    measured: pd.DataFrame,
    trials: pd.DataFrame,
    pairs: pd.DataFrame,
    plan: Plan,
    processing: Processing,
    visits: Sequence[str],
    stamp: Mapping[str, Any],
) -> pd.DataFrame:
    """``planned_participants`` less provenance.

    measured: every accepted running trial and energy bout, with a value or not: participant_id, site, visit, condition,
    set_speed_m_per_s (to 0.1), event_method, trial_id, is_bout. trials, pairs: as ``planned_answers`` takes and gives
    them.
    """
    used = kept(trials, plan.exclude)
    left_out = set(trials["trial_id"]) - set(used["trial_id"])
    every = differences(used, plan, processing, visits, weighed=False)
    rows: list[dict[str, Any]] = []
    for one in (*plan.primary, *plan.secondary):
        asked = {name: getattr(one, name) for name in ASKED} | {"at_speed": asked_speed(one)}
        own = of_comparison(one, every)
        mine = pairs
        for name, word in asked.items():
            mine = mine[mine[name].astype(str) == str(word)]
        told = [_with_difference(one, rows_) for rows_ in (own, compared(one, own, plan))]
        counts = _counted(one, plan, visits[0], measured, left_out, told, set(mine["participant_id"].astype(str)))
        rows += [asked | {"participation": word, "runner_count": count, **stamp} for word, count in counts]
    return frame_of(PLANNED_PARTICIPANTS, rows)


def _with_difference(one: PlannedComparison, rows: pd.DataFrame) -> set[str]:
    own = rows[(rows["outcome"] == one.outcome) & rows["difference_value"].notna()]
    return set(own["participant_id"].astype(str))


def _counted(
    one: PlannedComparison,
    plan: Plan,
    first_visit: str,
    measured: pd.DataFrame,
    left_out: set[str],
    told: Sequence[set[str]],
    in_it: set[str],
) -> Iterator[tuple[str, int]]:
    """(participation, how many runners), those that nobody has left out. told: runners with a difference by any method,
    and by that of their site."""
    however_fast = of_kind(one, measured)
    own = at_speed(one, however_fast)
    sides = sides_of(one, first_visit)
    at_visits = [{"visit": side["visit"]} for side in sides]
    steps = (
        ("not_at_visit", _at_all(however_fast, at_visits[:1])),
        ("not_at_reference_visit", _at_all(however_fast, at_visits)),
        ("not_in_condition", _at_all(however_fast, [side for side in sides if side["condition"] == one.condition])),
        ("not_in_reference", _at_all(however_fast, sides)),
        ("at_other_speed", _at_all(own, sides)),
        ("sides_apart", _runners(own, sides)),
        ("left_out_by_plan", _runners(allowed(own, plan, left_out), sides)),
        ("lacking_value", told[0]),
        ("other_method", told[1]),
        ("lacking_covariate", in_it),
    )
    yield "in_it", len(in_it)
    there = set(measured["participant_id"].astype(str)) - in_it
    for word, still in steps:
        if lost := there - still:
            yield word, len(lost)
        there &= still


def _at_all(rows: pd.DataFrame, sides: Sequence[dict[str, str]]) -> set[str]:
    """Runners with a trial on each of these sides, wherever and however fast."""
    found = [set(of_side(rows, side)["participant_id"].astype(str)) for side in sides]
    return set.intersection(*found)


def _runners(rows: pd.DataFrame, sides: Sequence[dict[str, str]]) -> set[str]:
    """Runners with all sides at one site, one speed and by one event method."""
    return {runner for runner, _, _ in together(rows, sides)}
