"""The dose-responses that the analysis plan asks about: of each runner one dose and one response.

The slope is in ``pipelines.science.statistics.dose_response``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.frames import frame_of
from schemas.outcomes_planned_doses import HOURS, PLANNED_DOSE_RESPONSES, SYMPTOMS
from schemas.plan import Plan, PlannedComparison, PlannedDose

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from schemas.processing import Processing
    from schemas.trial import FloatArray

# Every week after the first visit's planned one until the visit's must be there, else there is no sum and no mean.
_WEEKS = f"""
WITH span AS (
  SELECT min(planned_week) AS first, (SELECT planned_week FROM visits WHERE visit = $1) AS last FROM visits)
SELECT participant_id,
  CASE WHEN count(new_footwear_min) = last - first THEN sum(new_footwear_min ORDER BY week) END AS dose_min,
  CASE WHEN count({SYMPTOMS}) = last - first THEN avg({SYMPTOMS} ORDER BY week) END AS {SYMPTOMS}
FROM transition_weeks, span WHERE week > first AND week <= last GROUP BY participant_id, first, last
"""
# A runner's site is the one that sends the log.
_SITES = """
SELECT participant_id, min(site) AS site FROM reported_weeks JOIN deliveries USING (delivery_id) GROUP BY participant_id
"""
_NUMBERS = tuple(field.name for field in PLANNED_DOSE_RESPONSES.fields if field.name.endswith(("_value", "_min")))
_NOTHING = (*_NUMBERS, "degrees_of_freedom")

Trials = Callable[[Plan], "pd.DataFrame"]


def dose_rows(
    connection: duckdb.DuckDBPyConnection,
    plan: Plan,
    processing: Processing,
    visits: Sequence[str],
    trials_of: Trials,
    stamp: Mapping[str, Any],
) -> pd.DataFrame:
    """``planned_dose_responses`` less provenance. trials_of: those of a plan's outcomes; stamp: of the plan."""
    sites = connection.execute(_SITES).df().set_index("participant_id")["site"]
    asked = [_as_comparison(one) for one in plan.dose_responses if one.response != SYMPTOMS]
    changes = _changes(
        plan.model_copy(update={"primary": tuple(asked), "secondary": ()}), processing, visits, trials_of
    )
    rows = []
    for one in plan.dose_responses:
        weeks = connection.execute(_WEEKS, [one.visit]).df().set_index("participant_id")
        if one.response == SYMPTOMS:
            responses, at = weeks[SYMPTOMS].dropna(), sites
        else:
            responses, at = changes[one]
        row = {"response": one.response, "visit": one.visit, "condition": one.condition or "none", **stamp}
        doses = weeks["dose_min"].dropna()
        neither = len(set(weeks.index) - set(doses.index) - set(responses.index))
        rows.append(row | {"lacking_both_count": neither} | _answer(doses, responses, at))
    return frame_of(PLANNED_DOSE_RESPONSES, rows)


def _as_comparison(one: PlannedDose) -> PlannedComparison:
    """The change whose runners' differences are the responses."""
    return PlannedComparison(
        outcome=one.response,
        contrast="visit",
        visit=one.visit,
        condition=str(one.condition),
        reference_condition=one.condition,
    )


def _changes(
    plan: Plan, processing: Processing, visits: Sequence[str], trials_of: Trials
) -> dict[PlannedDose, tuple[pd.Series[float], pd.Series[str]]]:
    """Of each outcome asked about: by runner the mean change over sites, and the first of these by name."""
    import pandas as pd

    from pipelines.science.statistics.planned_groups import compared, of_comparison
    from pipelines.science.statistics.planned_trials import differences, kept

    if not plan.primary:
        return {}
    weighed = processing.contrasts.trial_weights == "uncertainty"
    rows = differences(kept(trials_of(plan), plan.exclude), plan, processing, visits, weighed=weighed)
    found = {}
    for one in plan.dose_responses:
        if one.response == SYMPTOMS:
            continue
        own = compared(_as_comparison(one), of_comparison(_as_comparison(one), rows), plan)
        own = own[(own["outcome"] == one.response) & own["difference_value"].notna()]
        at_sites = own.groupby(["participant_id", "site"], as_index=False)["difference_value"].mean()
        of_runner = at_sites.groupby("participant_id")
        found[one] = of_runner["difference_value"].mean(), pd.Series(of_runner["site"].min(), dtype=object)
    return found


def _answer(doses: pd.Series[float], responses: pd.Series[float], sites: pd.Series[str]) -> dict[str, Any]:
    from pipelines.science.statistics.dose_response import slope
    from pipelines.science.statistics.pooling import effect_row

    both = sorted(set(doses.index) & set(responses.index) & set(sites.index))
    counts = {
        "lacking_dose_count": len(set(responses.index) - set(doses.index)),
        "lacking_response_count": len(set(doses.index) - set(responses.index)),
        "alone_at_site_count": 0,
        "runner_count": len(both),
        "site_count": len(set(sites[both])),
    }
    row: dict[str, Any] = dict.fromkeys((*_NOTHING, "two_sided_p_value", "reason_null")) | counts
    own: FloatArray = np.asarray(doses[both], float)
    if len(own):
        row |= {"mean_dose_min": own.mean(), "smallest_dose_min": own.min(), "largest_dose_min": own.max()}
    found = slope(own / (60 * HOURS), np.asarray(responses[both], float), sites[both].to_numpy(object))
    if isinstance(found, str):
        return row | {"reason_null": found}
    told = {"degrees_of_freedom": found.freedom, "two_sided_p_value": found.p_value}
    told |= {"runner_count": found.runners, "site_count": found.sites, "alone_at_site_count": found.alone}
    return row | effect_row(found.effect) | told
