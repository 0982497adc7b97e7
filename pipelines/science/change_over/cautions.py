"""Weeks of a change-over that the safety lead should look at.

They are worked out when that page is written and stand in no table: what is in one, others than the safety lead read.
A caution is a pointer to a row, not advice. No published weekly dose limit was found, so the limits on minutes and
share are the study's own settings; on the questionnaire's sum there is no limit at all, as its authors want it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from pipelines.science.change_over.symptoms import SCORING
from schemas.processing import Processing, TransitionProcessing

if TYPE_CHECKING:
    import pandas as pd

#: What a caution may be about.
KINDS = {
    "minutes_rise": "Minutes in the new footwear rose by more than the study file's limit.",
    "share_rise": "The new footwear's share rose by more than the study file's limit.",
    "health_problem": "The runner reported a health problem, not a substantial one.",
    "substantial_problem": "The runner reported a substantial health problem.",
    "problem_not_followed_up": "No score in a week after one with a health problem.",
}
#: What every caution is and is not.
WORDING = (
    "A note from the data for the safety lead: not medical advice and no diagnosis. Follow local practice and the "
    "study's protocol; care is a matter for licensed professionals."
)
_OWN = "No published dose limit; the limit is a setting of the study, its default an own suggestion."
_QUESTIONNAIRE = f"Clarsen et al. 2020, Br J Sports Med 54:390 ({SCORING}); no clinical cut-off on the sum exists."
_ROUNDING = 1e-9  # 0.4 less 0.3 is a hair more than 0.1


@dataclass(frozen=True)
class Caution:
    """One reason to look at one runner's week. caution: of ``KINDS``; seen: the numbers; basis: of its rule."""

    participant_id: str
    week: int
    caution: str
    seen: str
    basis: str


def cautions(transition: pd.DataFrame, processing: Processing) -> list[Caution]:
    """The cautions by runner and week, from rows of ``transition_weeks``.

    Null values raise no caution, except that a week without answers after one with a problem is one of its own.
    """
    settings = processing.transition
    found: list[Caution] = []
    ordered = _records(transition.sort_values(["participant_id", "week"]))
    for runner, weeks in groupby(ordered, key=itemgetter("participant_id")):
        last_severity: float | None = None
        for week in weeks:
            for caution, seen, basis in (*_load(week, settings), *_symptoms(week, last_severity)):
                found.append(Caution(runner, int(week["week"]), caution, seen, basis))
            if week["symptom_severity_score"] is not None:
                last_severity = week["symptom_severity_score"]
    return found


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
