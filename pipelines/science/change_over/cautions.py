"""Weeks of a change-over that the safety lead should look at: the ``transition_cautions`` table.

A caution is a pointer to a row, not advice. No published weekly dose limit was found, so the limits on minutes and
share are the study's own settings; on the questionnaire's sum there is no limit at all, as its authors want it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from pipelines.science.change_over.symptoms import SCORING
from pipelines.science.frames import frame_of
from schemas.outcomes_study import TRANSITION_CAUTIONS
from schemas.processing import Processing, TransitionProcessing

if TYPE_CHECKING:
    import pandas as pd

WORDING = (
    "A note from the data for the safety lead: not medical advice and no diagnosis. Follow local practice and the "
    "study's protocol; care is a matter for licensed professionals."
)
_OWN = "No published dose limit; the limit is a setting of the study, its default an own suggestion."
_QUESTIONNAIRE = f"Clarsen et al. 2020, Br J Sports Med 54:390 ({SCORING}); no clinical cut-off on the sum exists."
_ROUNDING = 1e-9  # 0.4 less 0.3 is a hair more than 0.1


def cautions(transition: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """``transition_cautions`` less provenance, by runner and week, from rows of ``transition_weeks``.

    Null values raise no caution, except that a week without answers after one with a problem is one of its own.
    """
    settings = processing.transition
    rows: list[dict[str, Any]] = []
    ordered = _records(transition.sort_values(["participant_id", "week"]))
    for _, weeks in groupby(ordered, key=itemgetter("participant_id")):
        last_severity: float | None = None
        for week in weeks:
            for caution, seen, basis in (*_load(week, settings), *_symptoms(week, last_severity)):
                key = {name: week[name] for name in ("participant_id", "week")}
                rows.append(key | {"caution": caution, "seen": seen, "basis": basis, "wording": WORDING})
            if week["symptom_severity_score"] is not None:
                last_severity = week["symptom_severity_score"]
    return frame_of(TRANSITION_CAUTIONS, rows)


def _records(weeks: pd.DataFrame) -> list[dict[str, Any]]:
    plain = weeks.astype(object).where(weeks.notna(), None)
    return [{str(name): value for name, value in row.items()} for row in plain.to_dict("records")]


def _load(week: Mapping[str, Any], settings: TransitionProcessing) -> Iterator[tuple[str, str, str]]:
    rise, share = week["new_footwear_rise_fraction"], week["new_footwear_change_fraction"]
    limit = settings.minutes_rise_limit_fraction
    if rise is not None and rise > limit + _ROUNDING:
        now, was = week["new_footwear_min"], week["new_footwear_min"] / (1 + rise)
        seen = (
            f"{now:.0f} min in the new footwear after {was:.0f} min the week before: {100 * rise:.0f} % more, "
            f"limit {100 * limit:g} %."
        )
        yield "minutes_rise", seen, _OWN
    limit = settings.share_rise_limit_fraction
    if share is not None and share > limit + _ROUNDING:
        now = week["new_footwear_fraction"]
        seen = (
            f"{100 * now:.0f} % of running in the new footwear after {100 * (now - share):.0f} % the week before, "
            f"limit {100 * limit:g} percentage points."
        )
        yield "share_rise", seen, _OWN


def _symptoms(week: Mapping[str, Any], last_severity: float | None) -> Iterator[tuple[str, str, str]]:
    severity = week["symptom_severity_score"]
    if severity is None:
        if last_severity:
            seen = f"No score this week; the last one was {last_severity:.0f}."
            yield "problem_not_followed_up", seen, "A missing week is not a healthy week. Own rule."
    elif week["substantial_problem"]:
        yield "substantial_problem", f"Substantial health problem, severity {severity:.0f} of 100.", _QUESTIONNAIRE
    elif severity > 0:
        yield "health_problem", f"Health problem, severity {severity:.0f} of 100.", _QUESTIONNAIRE
