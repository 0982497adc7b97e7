"""Tables that need the whole pool: change-over weeks, cautions, and contrasts between conditions.

They are computed from the warehouse's own tables while it is built, each only if what it is computed from has changed.
Footfalls are averaged to trials, and trials to runners, here, in SQL; the methods are in ``pipelines.science``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipelines.pool import made_from
from pipelines.pool.flow import participant_flow
from pipelines.pool.planned import begin_plan, visits_in_order
from pipelines.pool.rows import replace_rows
from pipelines.pool.views import COMPARED_SPEED_SQL
from schemas import outcomes_contrasts as contrasts
from schemas import outcomes_flow as flow
from schemas import outcomes_planned as planned
from schemas import outcomes_planned_curves as planned_curves
from schemas import outcomes_planned_doses as planned_doses
from schemas import outcomes_reliability as reliability
from schemas import outcomes_study as tables
from schemas.compared import OF_ENERGY, SOURCES
from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_duckdb import quote_name
from schemas.model import Table

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipelines.depot.plans import Frozen
    from pipelines.pool.beside import Beside
    from pipelines.study.file import LoadedStudy
    from schemas.processing import Processing

#: Tables that are made here and not read from deliveries.
ANALYSIS_TABLES: tuple[Table, ...] = (
    tables.TRANSITION_WEEKS,
    contrasts.RUNNER_CONTRASTS,
    contrasts.SITE_CONTRASTS,
    contrasts.POOLED_CONTRASTS,
    contrasts.METHOD_OFFSETS,
    flow.ENROLLED_RUNNERS,
    flow.PARTICIPANT_FLOW,
    planned.ANALYSIS_PLANS,
    planned.PLANNED_CONTRASTS,
    planned.PLANNED_DIFFERENCES,
    planned.PLANNED_PARTICIPANTS,
    planned_curves.PLANNED_CURVES,
    planned_curves.PLANNED_CURVE_POINTS,
    planned_doses.PLANNED_DOSE_RESPONSES,
    reliability.RELIABILITY,
    reliability.SITE_AGREEMENT,
)

# Rows of one trial first, so that a runner counts once however long the recording; of energy a bout stands for a trial.
_RUNNER_MEANS = f"""
SELECT participant_id, site, visit, condition, {COMPARED_SPEED_SQL} AS set_speed_m_per_s, event_method, outcome,
  {{mean}} AS mean_value, count(*) AS trial_count FROM (
  SELECT participant_id, site, visit, condition, set_speed_m_per_s, coalesce(event_method, 'none') AS event_method,
    outcome, value, u.standard_uncertainty_value AS doubt
  FROM made_from.trial_values JOIN trials USING (trial_id)
  LEFT JOIN (SELECT trial_id, any_value(event_method) AS event_method FROM footfalls GROUP BY trial_id) USING (trial_id)
  LEFT JOIN outcome_uncertainties u USING (trial_id, outcome)
  UNION ALL
  SELECT s.participant_id, s.site, s.visit, e.condition, e.set_speed_m_per_s, 'none', e.outcome, e.value, NULL
  FROM (UNPIVOT (SELECT session_id, condition, set_speed_m_per_s, {", ".join(OF_ENERGY)} FROM energy_bouts)
        ON {", ".join(OF_ENERGY)} INTO NAME outcome VALUE value) e
  JOIN sessions s USING (session_id) WHERE isfinite(e.value))
WHERE visit IS NOT NULL AND condition IS NOT NULL AND set_speed_m_per_s IS NOT NULL
GROUP BY ALL ORDER BY ALL
"""

# Sums of floats differ in their last digits with the order in which threads add; of these sums the order may not count,
# else two warehouses of the same data would differ. Whole numbers of 1e-18 are added exactly, without a sort.
_EXACT_MEAN = "avg(TRY_CAST({} AS DECIMAL(38, 18)))"

#: How the values of a runner's trials become one: by ``processing.contrasts.trial_weights``.
_MEANS = {
    "equal": _EXACT_MEAN.format("value"),
    "uncertainty": "CASE WHEN count(*) FILTER (doubt > 0) = count(*) "
    "THEN sum(value / doubt ** 2 ORDER BY value, doubt) / sum(1 / doubt ** 2 ORDER BY doubt) "
    f"ELSE {_EXACT_MEAN.format('value')} END",
}

# Differences of one trial first, so that a long trial weighs no more than a short one. A site that has no trials with
# force and the other method takes those of the others, whose sites then differ as well.
_OFFSETS = """
WITH differences AS (
  UNPIVOT (SELECT t.site, t.participant_id, trial_id, e.event_method,
      e.contact_difference_s AS contact, e.toe_off_difference_s AS toe_off
    FROM footfall_events e JOIN trials t USING (trial_id)
    JOIN footfalls f ON f.trial_id = e.trial_id AND f.footfall_number = e.footfall_number
    WHERE f.event_method = 'force')
  ON contact, toe_off INTO NAME event VALUE late_s),
per_trial AS (
  SELECT site, participant_id, trial_id, event_method, event, avg(late_s ORDER BY late_s) AS mean_s, count(*) AS count,
    coalesce(var_samp(late_s ORDER BY late_s), 0) AS within
  FROM differences GROUP BY ALL),
own AS (
  SELECT site, event_method, event, avg(mean_s ORDER BY mean_s) AS bias_s,
    CASE WHEN sum(count) > 1 THEN sqrt(sum(within * (count - 1) ORDER BY within, count) / greatest(1, sum(count - 1))
      + coalesce(var_samp(mean_s ORDER BY mean_s), 0)) END AS sd_s,
    sum(count)::BIGINT AS footfall_count, count(*) AS trial_count, count(DISTINCT participant_id) AS runner_count
  FROM per_trial GROUP BY ALL)
SELECT *, 'own' AS offset_basis FROM own
UNION ALL
SELECT s.site, o.event_method, o.event, avg(o.bias_s ORDER BY o.bias_s),
  sqrt(avg(o.sd_s ** 2 ORDER BY o.sd_s) + coalesce(var_samp(o.bias_s ORDER BY o.bias_s), 0)),
  sum(o.footfall_count)::BIGINT, sum(o.trial_count)::BIGINT, sum(o.runner_count)::BIGINT, 'other_sites'
FROM sites s JOIN own o ON o.site <> s.site
WHERE (s.site, o.event_method, o.event) NOT IN (SELECT (site, event_method, event) FROM own)
GROUP BY s.site, o.event_method, o.event
ORDER BY ALL
"""


def fill_analyses(
    connection: duckdb.DuckDBPyConnection,
    study: LoadedStudy,
    code_version: str,
    beside: Beside,
    frozen: Sequence[Frozen] = (),
) -> None:
    """Bring every table of ``ANALYSIS_TABLES`` up to date, of what ``move_trial_values`` moved.

    beside: where the plan is carried out meanwhile. frozen: every plan that was frozen, the oldest first.
    """
    plan = begin_plan(connection, study, frozen, beside)
    processing, stamp = study.study.processing, {"code_version": code_version, "study_version": study.version}
    _transition(connection, processing, stamp)
    _contrasts(connection, study, stamp)
    replace_rows(connection, contrasts.METHOD_OFFSETS, method_offsets(connection).assign(**stamp))
    replace_rows(connection, flow.PARTICIPANT_FLOW, participant_flow(connection).assign(**stamp))
    for table, frame in plan():
        replace_rows(connection, table, frame.assign(**stamp))


def move_trial_values(connection: duckdb.DuckDBPyConnection) -> None:
    """Each trial's mean of every outcome that contrasts are made of; ``leaving`` and ``entering`` say which moved."""
    connection.execute("DELETE FROM made_from.trial_values WHERE trial_id IN (SELECT trial_id FROM leaving)")
    for source in SOURCES:
        table, outcomes, apart = source.table, source.outcomes, source.apart
        means = ", ".join(
            f"{_EXACT_MEAN.format(quote_name(name))} FILTER (isfinite({quote_name(name)})) AS {quote_name(name)}"
            for name in outcomes
        )
        listed, which = ", ".join(map(quote_name, outcomes)), ", ".join(["trial_id", *map(quote_name, apart)])
        known = " AND ".join(f"{quote_name(name)} IS NOT NULL" for name in apart) or "true"
        name = " || '/' || ".join([*map(quote_name, apart), "outcome"])
        connection.execute(
            f"INSERT INTO made_from.trial_values SELECT trial_id, {name}, value FROM (UNPIVOT (SELECT {which}, {means} "
            f"FROM {quote_name(table.name)} SEMI JOIN entering USING (trial_id) WHERE {known} GROUP BY {which}) "
            f"ON {listed} INTO NAME outcome VALUE value)"
        )


def runner_means(connection: duckdb.DuckDBPyConnection, trial_weights: str = "equal") -> pd.DataFrame:
    """Each runner's mean of every outcome by site, visit, condition, speed and method, for ``runner_contrasts``.

    trial_weights: as ``ContrastProcessing.trial_weights``.
    """
    means: pd.DataFrame = connection.sql(_RUNNER_MEANS.format(mean=_MEANS[trial_weights])).df()
    return means


def method_offsets(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """``method_offsets`` less provenance: by how much other methods differ from force at each site."""
    offsets: pd.DataFrame = connection.sql(_OFFSETS).df()
    return offsets


def _transition(connection: duckdb.DuckDBPyConnection, processing: Processing, stamp: dict[str, str]) -> None:
    content = made_from.content_of(connection, ("reported_weeks", "reported_symptoms"))
    inputs = made_from.hashed(content, processing.transition.model_dump_json(), stamp["code_version"])
    if inputs == made_from.inputs_of(connection, "transition"):
        return
    from pipelines.science.change_over.weeks import compute_transition

    weeks = connection.sql("SELECT * FROM reported_weeks ORDER BY ALL").df()
    symptoms = connection.sql("SELECT * FROM reported_symptoms ORDER BY ALL").df()
    found = compute_transition(weeks, symptoms, processing)
    replace_rows(connection, tables.TRANSITION_WEEKS, found.assign(**stamp))
    made_from.note_inputs(connection, "transition", inputs)


def _contrasts(connection: duckdb.DuckDBPyConnection, study: LoadedStudy, stamp: dict[str, str]) -> None:
    """Contrasts of the outcomes and visits in which a runner's difference is another than in the tables."""
    from pipelines.science.statistics.contrasts import runner_contrasts, site_contrasts
    from pipelines.science.statistics.planned import families
    from pipelines.science.statistics.pooled import pooled_contrasts

    processing, named = study.study.processing, families(study.plan.plan) if study.plan else {}
    settings = made_from.hashed(processing.contrasts.model_dump_json(), sorted(named.items()), stamp["code_version"])

    means = runner_means(connection, processing.contrasts.trial_weights)
    within = runner_contrasts(means, processing, visits_in_order(connection)).assign(**stamp)
    if settings == made_from.inputs_of(connection, "contrasts"):
        changed = _changed(connection, within)
        chosen = within.set_index(["outcome", "visit"]).index.isin(changed)
        within = within[chosen].reset_index(drop=True)
        where = "(outcome, visit) IN (SELECT (outcome, visit) FROM changed)"
        connection.execute("CREATE OR REPLACE TEMP TABLE changed (outcome VARCHAR, visit VARCHAR)")
        if changed:
            connection.executemany("INSERT INTO changed VALUES (?, ?)", changed)
    else:
        where = "true"
    sites = site_contrasts(within, processing)
    for table, frame in (
        (contrasts.RUNNER_CONTRASTS, within),
        (contrasts.SITE_CONTRASTS, sites),
        (contrasts.POOLED_CONTRASTS, pooled_contrasts(within, sites, processing, named)),
    ):
        replace_rows(connection, table, frame.assign(**stamp), where)
    made_from.note_inputs(connection, "contrasts", settings)
    _travelling(connection, means, processing, stamp)


def _travelling(
    connection: duckdb.DuckDBPyConnection, means: pd.DataFrame, processing: Processing, stamp: dict[str, str]
) -> None:
    """What runners say of the sites who were at several of them, if anything of theirs is another now."""
    import pandas as pd

    from pipelines.science.statistics.travelling import travelling_tables

    sites = means[["participant_id", "site"]].drop_duplicates()
    theirs = means[means["participant_id"].isin(sites.loc[sites.duplicated("participant_id"), "participant_id"])]
    rows = pd.util.hash_pandas_object(theirs, index=False)
    inputs = made_from.hashed(len(rows), rows.sum(), processing.contrasts.model_dump_json(), *stamp.values())
    if inputs == made_from.inputs_of(connection, "travelling"):
        return
    tables_of_sites = reliability.RELIABILITY, reliability.SITE_AGREEMENT
    for table, frame in zip(tables_of_sites, travelling_tables(theirs, processing), strict=True):
        replace_rows(connection, table, frame.assign(**stamp))
    made_from.note_inputs(connection, "travelling", inputs)


def _changed(connection: duckdb.DuckDBPyConnection, within: pd.DataFrame) -> list[tuple[str, str]]:
    """(outcome, visit) of which a runner's row is another one now, or one more or less."""
    names = ", ".join(c for c in contrasts.RUNNER_CONTRASTS.column_names if c not in ("code_version", "study_version"))
    columns = list(contrasts.RUNNER_CONTRASTS.column_names)
    connection.register("rows", to_arrow_table(contrasts.RUNNER_CONTRASTS, within[columns]))
    (old, new) = (f"SELECT {names} FROM {source}" for source in ("runner_contrasts", "rows"))
    either = f"(({old}) EXCEPT ({new})) UNION ALL (({new}) EXCEPT ({old}))"
    found = connection.execute(f"SELECT DISTINCT outcome, visit FROM ({either}) ORDER BY ALL").fetchall()
    connection.unregister("rows")
    return found
