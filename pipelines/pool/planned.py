"""Carries the analysis plan out on the warehouse's own tables: its trials, and which plans there were.

The analyses themselves are in ``pipelines.science.statistics.planned``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from pipelines.pool.planned_curves import curve_tables
from pipelines.pool.planned_doses import dose_rows
from pipelines.pool.views import COMPARED_SPEED_SQL
from pipelines.science.frames import frame_of
from schemas.compared import MEASURED_SPEED, OF_ENERGY
from schemas.model import Table
from schemas.outcomes_planned import ANALYSIS_PLANS, PLANNED_CONTRASTS, PLANNED_DIFFERENCES, PLANNED_PARTICIPANTS
from schemas.outcomes_planned_curves import PLANNED_CURVE_POINTS, PLANNED_CURVES
from schemas.outcomes_planned_doses import PLANNED_DOSE_RESPONSES

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipelines.depot.plans import Frozen
    from pipelines.pool.beside import Beside
    from pipelines.study.file import LoadedStudy
    from schemas.plan import Plan
    from schemas.processing import Processing

_ENERGY = ", ".join(OF_ENERGY)
# The place of a trial's condition in its session as it was run: of all running trials that are known, also of those
# that went back or hold no value that is asked for, so that what is left over for an analysis is never numbered anew.
_PLACES = """
known AS (
  SELECT * FROM standings
  WHERE kind = 'running' AND NOT superseded AND trial_order >= 1 AND condition IS NOT NULL
  QUALIFY row_number() OVER (PARTITION BY trial_id ORDER BY standing = 'accepted' DESC, delivery_id) = 1),
begun AS (
  SELECT *, (condition IS DISTINCT FROM lag(condition) OVER session)::INTEGER AS begins FROM known
  WINDOW session AS (PARTITION BY participant_id, site, visit, study_day ORDER BY trial_order, condition, trial_id)),
places AS (
  SELECT trial_id, sum(begins) OVER (PARTITION BY participant_id, site, visit, study_day
    ORDER BY trial_order, condition, trial_id)::DOUBLE AS condition_place FROM begun)"""
# In the order of all columns, so that sums over rows come out the same to the last digit, whatever came first. $1:
# outcomes; $2: checks whose notes leave a trial out.
_TRIALS = f"""
WITH {_PLACES}, methods AS (SELECT trial_id, any_value(event_method) AS event_method FROM footfalls GROUP BY trial_id),
speeds AS (SELECT trial_id, value AS measured_speed FROM made_from.trial_values WHERE outcome = '{MEASURED_SPEED}'),
noted AS (SELECT DISTINCT trial_id, delivery_id FROM findings
          WHERE weight = 'notes' AND trial_id IS NOT NULL AND list_contains($2, check_name))
SELECT participant_id, site, visit, condition, {COMPARED_SPEED_SQL} AS set_speed_m_per_s, event_method, trial_id,
  outcome, value, doubt, condition_place, measured_speed, set_speed_m_per_s AS exact_set_speed, accepted_by_override,
  noted, noted_by_one, mass_kg, sex FROM (
  SELECT t.participant_id, t.site, t.visit, t.condition, t.set_speed_m_per_s,
    coalesce(m.event_method, 'none') AS event_method, v.trial_id, v.outcome, v.value,
    u.standard_uncertainty_value AS doubt, c.condition_place, p.measured_speed, t.accepted_by_override,
    t.has_notes AS noted, n.trial_id IS NOT NULL AS noted_by_one, s.mass_kg, r.sex
  FROM made_from.trial_values v JOIN trials t USING (trial_id) JOIN sessions s ON s.session_id = t.session_id
  JOIN runners r ON r.participant_id = t.participant_id
  LEFT JOIN methods m USING (trial_id) LEFT JOIN speeds p USING (trial_id)
  LEFT JOIN places c USING (trial_id)
  LEFT JOIN noted n ON n.trial_id = t.trial_id AND n.delivery_id = t.delivery_id
  LEFT JOIN outcome_uncertainties u ON u.trial_id = v.trial_id AND u.outcome = v.outcome
  WHERE list_contains($1, v.outcome)
  UNION ALL
  SELECT s.participant_id, s.site, s.visit, e.condition, e.set_speed_m_per_s, 'none',
    s.session_id || '/' || e.condition || '/' || e.bout, e.outcome, e.value, NULL, NULL, NULL, false, false, false,
    s.mass_kg, r.sex
  FROM (UNPIVOT (SELECT session_id, condition, bout, set_speed_m_per_s, {_ENERGY} FROM energy_bouts)
        ON {_ENERGY} INTO NAME outcome VALUE value) e
  JOIN sessions s USING (session_id) JOIN runners r ON r.participant_id = s.participant_id
  WHERE isfinite(e.value) AND list_contains($1, e.outcome))
WHERE visit IS NOT NULL AND condition IS NOT NULL AND set_speed_m_per_s IS NOT NULL
ORDER BY ALL
"""
# All that was accepted, whether it holds a value or not; in order, as above.
_MEASURED = f"""
WITH methods AS (SELECT trial_id, any_value(event_method) AS event_method FROM footfalls GROUP BY trial_id)
SELECT participant_id, site, visit, condition, {COMPARED_SPEED_SQL} AS set_speed_m_per_s, event_method, trial_id,
  is_bout FROM (
  SELECT t.participant_id, t.site, t.visit, t.condition, t.set_speed_m_per_s,
    coalesce(m.event_method, 'none') AS event_method, t.trial_id, false AS is_bout
  FROM trials t LEFT JOIN methods m USING (trial_id) WHERE t.kind = 'running'
  UNION ALL
  SELECT s.participant_id, s.site, s.visit, e.condition, e.set_speed_m_per_s, 'none',
    s.session_id || '/' || e.condition || '/' || e.bout, true
  FROM energy_bouts e JOIN sessions s USING (session_id))
ORDER BY ALL
"""


def begin_plan(
    connection: duckdb.DuckDBPyConnection, study: LoadedStudy, frozen: Sequence[Frozen], beside: Beside
) -> Callable[[], list[tuple[Table, pd.DataFrame]]]:
    """Begin to carry the plan out; rows of its tables less provenance are what this returns gives.

    frozen: every plan that was frozen, the oldest first.
    """
    loaded = study.plan
    state = "not_frozen" if not frozen else "frozen" if frozen[-1].is_plan(loaded) else "changed"
    others = [one for one in frozen if not one.is_plan(loaded)]
    last = {(one.sha256, _words(one.settings)): one for one in others}  # frozen twice, the later time counts
    rows = [_told(one.sha256, one.version, "replaced", one.settings, one) for one in last.values()]
    if loaded is None:
        answered = (PLANNED_CONTRASTS, PLANNED_DIFFERENCES, PLANNED_PARTICIPANTS, PLANNED_DOSE_RESPONSES)
        none = (*answered, PLANNED_CURVES, PLANNED_CURVE_POINTS)
        only = [(ANALYSIS_PLANS, frame_of(ANALYSIS_PLANS, rows)), *((table, frame_of(table, ())) for table in none)]
        return lambda: only
    plan = loaded.answered
    own = [one for one in frozen if one.is_plan(loaded)]
    rows.append(_told(loaded.sha256, plan.version, state, loaded.settings, own[-1] if own else None))
    stamp = {"plan_sha256": loaded.sha256, "plan_version": plan.version, "plan_state": state}
    visits = visits_in_order(connection)
    trials, measured = trials_of(connection, plan), connection.sql(_MEASURED).df()
    argument = (trials, measured, plan, study.study.processing, visits, stamp)
    answers = beside.begin_if_there(_answers, argument)

    def plan_tables() -> list[tuple[Table, pd.DataFrame]]:
        curves = curve_tables(connection, plan, visits, stamp)
        doses = dose_rows(connection, plan, study.study.processing, visits, partial(trials_of, connection), stamp)
        found, pairs, counted = answers()
        told = (ANALYSIS_PLANS, frame_of(ANALYSIS_PLANS, rows)), (PLANNED_DOSE_RESPONSES, doses)
        answered = (PLANNED_CONTRASTS, found), (PLANNED_DIFFERENCES, pairs), (PLANNED_PARTICIPANTS, counted)
        return [*told, *answered, *curves]

    return plan_tables


def _answers(
    argument: tuple[pd.DataFrame, pd.DataFrame, Plan, Processing, list[str], dict[str, Any]],
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    from pipelines.science.statistics.planned import planned_answers
    from pipelines.science.statistics.planned_participants import planned_participants

    trials, measured, plan, processing, visits, stamp = argument
    found, pairs = planned_answers(trials, plan, processing, visits, stamp, measured)
    return found, pairs, planned_participants(measured, trials, pairs, plan, processing, visits, stamp)


def _told(sha256: str, version: str, state: str, settings: dict[str, Any], frozen: Frozen | None) -> dict[str, Any]:
    return {
        "plan_sha256": sha256,
        "plan_version": version,
        "plan_state": state,
        "frozen_utc": frozen.utc if frozen else None,
        "accepted_trial_count": frozen.trials if frozen else None,
        "plan_settings": _words(settings),
        "settings_sha256": hashlib.sha256(_words(settings).encode()).hexdigest(),
    }


def _words(settings: dict[str, Any]) -> str:
    return json.dumps(settings, sort_keys=True)


def trials_of(connection: duckdb.DuckDBPyConnection, plan: Plan) -> pd.DataFrame:
    """The accepted trials with a value of a planned outcome, as ``planned_trials.kept`` takes them."""
    outcomes = sorted({one.outcome for one in (*plan.primary, *plan.secondary)})
    found: pd.DataFrame = connection.execute(_TRIALS, [outcomes, list(plan.exclude.notes_of)]).df()
    return found


def visits_in_order(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """The visits of the plan, the first first."""
    rows = connection.execute("SELECT visit FROM visits ORDER BY planned_week, visit").fetchall()
    return [visit for (visit,) in rows]
