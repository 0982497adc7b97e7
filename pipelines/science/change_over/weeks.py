"""The weeks of a change-over: the ``transition_weeks`` table from the log and the questionnaire.

What may deserve the safety lead's eye is in ``transition_cautions``; scoring is in ``symptoms``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.science.change_over.symptoms import SCORING, Score, score
from pipelines.science.frames import frame_of
from schemas.outcomes_study import TRANSITION_WEEKS
from schemas.processing import Processing

if TYPE_CHECKING:
    import pandas as pd

_NOT_LOGGED = "no running log for the week"
_NOT_COMPLETE = "a time or its footwear is missing in the running log"
_NOT_ASKED = "no questionnaire for the week"

_Key = tuple[str, int]


@dataclass(frozen=True)
class _Log:
    """One week's minutes: all footwear, and of that the new; None with a reason, or where the study names no new."""

    total: float | None = None
    new: float | None = None
    reason: str | None = None


def compute_transition(weeks: pd.DataFrame, symptoms: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """One row per runner and week, from the runner's first to the last week in either table, gaps included.

    weeks, symptoms: rows of ``sent_weeks`` and ``sent_symptoms``, of all deliveries of a runner together, since a
    change needs the week before. A week without a row is null, never zero; in a week that has rows, footwear that is
    not listed was not run in. A change is null unless the week before is known.
    """
    minutes = _minutes(weeks, frozenset(processing.transition.new_footwear))
    scores = _scores(symptoms)
    reported: dict[str, list[int]] = {}
    for runner, week in [*minutes, *scores]:
        reported.setdefault(runner, []).append(week)
    rows: list[dict[str, Any]] = []
    for runner in sorted(reported):
        before: dict[str, Any] = {}
        for week in range(min(reported[runner]), max(reported[runner]) + 1):
            log = minutes.get((runner, week), _Log(reason=_NOT_LOGGED))
            symptom = scores.get((runner, week), Score(reason=_NOT_ASKED))
            before = {"participant_id": runner, "week": week} | _week(log, symptom, before)
            rows.append(before)
    return frame_of(TRANSITION_WEEKS, rows)


def _minutes(weeks: pd.DataFrame, new: frozenset[str]) -> dict[_Key, _Log]:
    rows: dict[_Key, list[tuple[Any, float]]] = {}
    known = weeks.dropna(subset=["participant_id", "week"])
    times = known["running_min"].astype("float64")
    for runner, week, condition, time in zip(
        known["participant_id"], known["week"], known["condition"], times, strict=True
    ):
        rows.setdefault((runner, int(week)), []).append((condition, time))
    return {key: _log(own, new) for key, own in rows.items()}


def _log(rows: Sequence[tuple[Any, float]], new: frozenset[str]) -> _Log:
    # a sum over what is left would understate the week, and time in unknown footwear belongs to neither
    if any(math.isnan(time) or not isinstance(condition, str) for condition, time in rows):
        return _Log(reason=_NOT_COMPLETE)
    of_new = sum((time for condition, time in rows if condition in new), 0.0) if new else None
    return _Log(sum((time for _, time in rows), 0.0), of_new)


def _scores(symptoms: pd.DataFrame) -> dict[_Key, Score]:
    known = symptoms.dropna(subset=["participant_id", "week"])
    answers = known[[f"question_{n}_points" for n in (1, 2, 3, 4)]].astype("float64").to_numpy().tolist()
    return {
        (runner, int(week)): score(given)
        for runner, week, given in zip(known["participant_id"], known["week"], answers, strict=True)
    }


def _week(log: _Log, symptom: Score, before: Mapping[str, Any]) -> dict[str, Any]:
    share = log.new / log.total if log.total and log.new is not None else None
    old_share, old_new = before.get("new_footwear_fraction"), before.get("new_footwear_min")
    why = None
    if log.new is None or share is None:
        why = "this week's time in the new footwear, or its share, is not known"
    elif old_new is None or old_share is None:
        why = "that of the week before is not known" if before else "it is the runner's first week"
    elif not old_new:
        why = "nothing was run in the new footwear the week before"
    return {
        "running_min": log.total,
        "new_footwear_min": log.new,
        "new_footwear_rise_fraction": (log.new - old_new) / old_new if log.new is not None and old_new else None,
        "new_footwear_fraction": share,
        "new_footwear_change_fraction": share - old_share if share is not None and old_share is not None else None,
        "symptom_severity_score": symptom.severity,
        "health_problem": symptom.problem,
        "substantial_problem": symptom.substantial,
        "symptom_scoring": SCORING,
        "reason_null": "; ".join(r for r in (log.reason, symptom.reason) if r) or None,
        "reason_no_change": why,
    }
