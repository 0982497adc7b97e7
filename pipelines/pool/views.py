"""Views a statistician wants, each with words for itself and every column. SQL over the warehouse's own tables.

Column lists come from the table definitions, so that a new outcome is in every view without a change here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipelines.pool import weekly_load
from pipelines.pool.null_reasons import REASONS
from pipelines.pool.nulls import lacking_in_contrasts, outcome_nulls
from schemas.catalogue import TABLES
from schemas.compared import NUMERIC, compared_speed_sql
from schemas.convert.to_duckdb import quote_name, quote_text
from schemas.convert.words import column_comment
from schemas.core import RUNNERS, SESSIONS, TRIALS
from schemas.equipment import OUTCOME_UNCERTAINTIES
from schemas.fields import COMPARED_METHOD, COMPARED_SPEED
from schemas.model import Field, Table
from schemas.outcomes import FOOTFALLS
from schemas.outcomes_contrasts import POOLED_CONTRASTS, RUNNER_CONTRASTS
from schemas.quality import FINDINGS, STANDINGS


@dataclass(frozen=True)
class View:
    """One view. ``columns``: name to words, in order."""

    name: str
    about: str
    sql: str
    columns: dict[str, str]


#: What stands beside every footfall and trial mean: (SQL, name, field it is described by).
_ABOUT_TRIAL: tuple[tuple[str, str, Field], ...] = (
    *(
        (f"t.{name}", name, TRIALS.column(name))
        for name in (
            "session_id",
            "participant_id",
            "site",
            "visit",
            "condition",
            "surface",
            "set_speed_m_per_s",
            "belt_speed_m_per_s",
            "trial_order",
            "accepted_by_override",
        )
    ),
    ("s.study_day", "study_day", SESSIONS.column("study_day")),
    ("s.mass_kg", "session_mass_kg", SESSIONS.column("mass_kg")),
    *(
        (f"r.{name}", name, RUNNERS.column(name))
        for name in ("birth_year", "sex", "stature_m", "leg_length_m", "habitual_footwear")
    ),
)
#: The set speed by which means over trials are told apart, as ``COMPARED_SPEED`` says; SQL over a trial's own.
COMPARED_SPEED_SQL = compared_speed_sql("set_speed_m_per_s")
_METHOD = {COMPARED_METHOD.name: column_comment(COMPARED_METHOD)}
_COMPARED = {COMPARED_SPEED.name: column_comment(COMPARED_SPEED), **_METHOD}
_TABLE_OF = {"t": TRIALS.name, "s": SESSIONS.name, "r": RUNNERS.name}
_About = tuple[tuple[str, str, Field], ...]
_JOINS = (
    "JOIN trials t USING (trial_id) JOIN sessions s USING (session_id) "
    "JOIN runners r ON r.participant_id = t.participant_id"
)


def all_views(present: Iterable[Table] = TABLES.values()) -> tuple[View, ...]:
    """The views in the order in which they must be made. present: the tables, with the columns that are there."""
    present = tuple(present)
    columns = {table.name: frozenset(table.column_names) for table in present}
    about = tuple(one for one in _ABOUT_TRIAL if one[2].name in columns[_TABLE_OF[one[0][0]]])
    footfalls = tuple(f for f in FOOTFALLS.fields if f.name in columns[FOOTFALLS.name])
    numbers = tuple(f for f in NUMERIC if f in footfalls)
    return (
        _footfalls_full(about, footfalls),
        _trial_means(about, numbers),
        _outcome_spread(numbers, stated=OUTCOME_UNCERTAINTIES.name in columns),
        _runner_condition_means(numbers),
        _condition_overview(numbers),
        _completeness(),
        _outcome_nulls(present),
        *([_weekly_load()] if columns.keys() >= set(weekly_load.MADE_OF) else ()),
        *([_lacking_in_contrasts()] if RUNNER_CONTRASTS.name in columns else ()),
        *([_pooled_answers(POOLED_CONTRASTS)] if POOLED_CONTRASTS.name in columns else ()),
        *([_findings_open(FINDINGS)] if FINDINGS.name in columns else ()),
    )


def _words(table: Table, *names: str) -> dict[str, str]:
    return {name: column_comment(table.column(name)) for name in names}


def _footfalls_full(about: _About, footfalls: tuple[Field, ...]) -> View:
    own = ", ".join(f"f.{quote_name(f.name)}" for f in footfalls)
    others = ", ".join(f"{sql} AS {name}" for sql, name, _ in about)
    return View(
        "footfalls_full",
        "One row is one footfall of an accepted trial, with its trial, session and runner. "
        "Footfalls of one trial are not independent: for comparisons start from runner_condition_means.",
        f"SELECT {own}, {others} FROM footfalls f {_JOINS}",
        {f.name: column_comment(f) for f in footfalls} | {name: column_comment(field) for _, name, field in about},
    )


def _trial_means(about: _About, numbers: tuple[Field, ...]) -> View:
    told = ", ".join(f"any_value({name}) AS {name}" for _, name, _ in about)
    means = ", ".join(f"avg({f.name}) AS {f.name}" for f in numbers)
    return View(
        "trial_means",
        "One row is one accepted running trial: the mean of each outcome over its footfalls, both sides together. "
        "A footfall without a value is left out of that mean; outcome_spread tells how many there were.",
        "SELECT trial_id, any_value(event_method) AS event_method, count(*) AS footfall_count, "
        "count(impact_peak_bw) AS impact_peak_count, "
        f"{told}, {means} FROM footfalls_full GROUP BY trial_id",
        {"trial_id": column_comment(TRIALS.column("trial_id")), **_METHOD, "footfall_count": "Footfalls of the trial."}
        | {"impact_peak_count": "Footfalls with an impact peak, on which the means of the impact peak rest."}
        | {name: column_comment(field) for _, name, field in about}
        | {f.name: f"Mean over the trial's footfalls. {column_comment(f)}" for f in numbers},
    )


def _outcome_spread(numbers: tuple[Field, ...], *, stated: bool) -> View:
    """stated: whether the standard uncertainties are there."""
    names = ", ".join(f.name for f in numbers)
    beside = (
        ", any_value(standard_uncertainty_value) AS standard_uncertainty_value",
        "LEFT JOIN (SELECT trial_id, outcome, standard_uncertainty_value FROM outcome_uncertainties) "
        "USING (trial_id, outcome) ",
    )
    doubt, join = beside if stated else ("", "")
    return View(
        "outcome_spread",
        "One row is one outcome of one accepted running trial: mean, standard deviation and number of footfalls"
        + (
            ", and the standard uncertainty that the equipment leaves on each, which no number of footfalls makes "
            "smaller."
            if stated
            else "."
        ),
        "SELECT trial_id, participant_id, site, visit, condition, set_speed_m_per_s, outcome, "
        "avg(footfall_value) AS mean_value, "
        "stddev_samp(footfall_value) AS sd_value, count(footfall_value) AS footfall_count"
        f"{doubt} FROM "
        "(UNPIVOT (SELECT trial_id, participant_id, site, visit, condition, set_speed_m_per_s, "
        f"{names} FROM footfalls_full) "
        f"ON {names} INTO NAME outcome VALUE footfall_value) "
        f"{join}"
        "GROUP BY trial_id, participant_id, site, visit, condition, set_speed_m_per_s, outcome",
        _words(TRIALS, "trial_id", "participant_id", "site", "visit", "condition", "set_speed_m_per_s")
        | {
            "outcome": "Column name of the outcome in footfalls; its ending is the unit.",
            "mean_value": "Mean over the footfalls that have a value, in the outcome's unit.",
            "sd_value": "Sample standard deviation over those footfalls; null for a single one.",
            "footfall_count": "Footfalls that have a value.",
        }
        | (
            {"standard_uncertainty_value": "As in outcome_uncertainties; null where nothing is stated."}
            if stated
            else {}
        ),
    )


def _runner_condition_means(numbers: tuple[Field, ...]) -> View:
    means = ", ".join(f"avg({f.name}) AS {f.name}" for f in numbers)
    return View(
        "runner_condition_means",
        "One row is one runner at one site and visit in one condition at one set speed, by one event method: footfalls "
        "are averaged within each trial first, then trials, so that a long trial weighs no more than a short one.",
        f"SELECT participant_id, site, visit, condition, {COMPARED_SPEED_SQL} AS set_speed_m_per_s, "
        "event_method, count(*) AS trial_count, "
        f"sum(footfall_count)::BIGINT AS footfall_count, sum(impact_peak_count)::BIGINT AS impact_peak_count, {means} "
        f"FROM trial_means GROUP BY participant_id, site, visit, condition, {COMPARED_SPEED_SQL}, event_method",
        _words(TRIALS, "participant_id", "site", "visit", "condition")
        | _COMPARED
        | {"trial_count": "Trials averaged.", "footfall_count": "Footfalls in those trials."}
        | {"impact_peak_count": "Those with an impact peak, on which the means of the impact peak rest."}
        | {f.name: f"Mean over trials of the trial's mean. {column_comment(f)}" for f in numbers},
    )


def _condition_overview(numbers: tuple[Field, ...]) -> View:
    names = [f.name for f in numbers]
    per_runner = ", ".join(f"avg({name}) AS {name}" for name in names)
    return View(
        "condition_overview",
        "One row is one condition at one set speed, by one event method: the mean over runners, each runner's sites "
        "and visits averaged first. A first look only: compare within runners, for not all ran in every condition.",
        f"SELECT condition, set_speed_m_per_s, event_method, count(*) AS runner_count, {per_runner} FROM "
        f"(SELECT participant_id, condition, set_speed_m_per_s, event_method, {per_runner} "
        "FROM runner_condition_means GROUP BY participant_id, condition, set_speed_m_per_s, event_method) "
        "GROUP BY condition, set_speed_m_per_s, event_method ORDER BY condition, set_speed_m_per_s, event_method",
        _words(TRIALS, "condition")
        | _COMPARED
        | {"runner_count": "Runners with an accepted running trial in the condition at the speed."}
        | {f.name: f"Mean over runners. {column_comment(f)}" for f in numbers},
    )


def _completeness() -> View:
    counts = ", ".join(
        f"count(*) FILTER (WHERE g.standing = {quote_text(standing)}) AS {standing}_count"
        for standing in ("accepted", "returned", "withheld")
    )
    return View(
        "completeness",
        "One row is one site, visit and condition of the plan, with how many running trials of each standing there "
        "are, the newest version of each trial counting. Withheld trials stand in one row per site, without visit "
        "and condition.",
        f"SELECT p.site, p.visit, p.condition, "
        "count(DISTINCT g.participant_id) FILTER (WHERE g.standing = 'accepted') AS runner_count, "
        f"{counts} FROM (SELECT site, visit, planned_week, condition FROM sites, visits, conditions UNION ALL "
        "SELECT DISTINCT site, NULL, NULL, NULL FROM standings WHERE standing = 'withheld' AND NOT superseded) p "
        "LEFT JOIN (SELECT * FROM standings WHERE NOT superseded AND coalesce(kind, 'running') = 'running') g "
        "ON g.site = p.site AND g.visit IS NOT DISTINCT FROM p.visit AND g.condition IS NOT DISTINCT FROM p.condition "
        "GROUP BY p.site, p.visit, p.planned_week, p.condition "
        "ORDER BY p.site, p.planned_week, p.visit, p.condition",
        _words(STANDINGS, "site", "visit", "condition")
        | {
            "runner_count": "Runners with at least one accepted running trial.",
            "accepted_count": "Running trials accepted.",
            "returned_count": "Running trials that went back and have not been sent again.",
            "withheld_count": "Trials withheld: consent does not cover them.",
        },
    )


_REASON_WORDS = f"Why: {'; '.join(f'{name}: {words}' for name, words in REASONS.items())}"


def _outcome_nulls(present: Iterable[Table]) -> View:
    return View(
        "outcome_nulls",
        "One row is one value that is null in an outcome table, a muscle's reference or a control chart, with the "
        "reason; in_row where the row tells it itself (reason_null). Of texts only such as are codes.",
        outcome_nulls(present),
        {
            "table_name": "Table.",
            "trial_id": f"{column_comment(TRIALS.column('trial_id'))} Null of tables whose rows are no trial's.",
            "row_words": "Which row, by the rest of the table's key; empty where a trial has one.",
            "column_name": "Column that is null.",
            "outcome": "Its name as in runner_contrasts; null if it is not compared.",
            "reason": _REASON_WORDS,
        },
    )


def _weekly_load() -> View:
    return View("weekly_load", weekly_load.ABOUT, weekly_load.weekly_load(), weekly_load.columns())


def _lacking_in_contrasts() -> View:
    names = ("outcome", "contrast", "visit", "reference_visit", "condition", "reference_condition", "site")
    return View(
        "lacking_in_contrasts",
        "One row is one reason why runners who were measured on both sides have no value of an outcome on one. Of an "
        "interaction see the two differences between conditions that it is made of.",
        lacking_in_contrasts(COMPARED_SPEED_SQL),
        _words(RUNNER_CONTRASTS, *names, "set_speed_m_per_s", "event_method")
        | {
            "lacks": "On which side, as reason_null of runner_contrasts.",
            "reason": "As in outcome_nulls, or reason_null of energy_bouts; not_recorded where there is no row at all.",
            "runner_count": "Runners. Who has several reasons counts in each.",
        },
    )


def _pooled_answers(pooled: Table) -> View:
    return View(
        "pooled_answers",
        "One row is one difference that could be pooled, by one method: pooled_contrasts without the comparisons that "
        "have no estimate, which have their reason there. What the analysis plan asks is in planned_contrasts.",
        f"SELECT * FROM {pooled.name} WHERE estimate_value IS NOT NULL",
        _words(pooled, *pooled.column_names),
    )


def _findings_open(findings: Table) -> View:
    names = tuple(f.name for f in findings.fields if f.name not in {"signal", "code_version", "study_version"})
    columns = ", ".join(f"f.{name}" for name in names)
    return View(
        "findings_open",
        "One row is one finding a site still has to act on: of a returned trial that has not been sent again, or of a "
        "delivery that could not be taken in and has not been replaced under its number.",
        f"SELECT {columns} FROM findings f "
        "JOIN standings g USING (delivery_id, trial_id) "
        "WHERE f.weight = 'returns' AND g.standing = 'returned' AND NOT g.superseded AND NOT EXISTS (SELECT 1 FROM "
        "overrides o WHERE (o.delivery_id, o.trial_id, o.check_name) = (f.delivery_id, f.trial_id, f.check_name)) "
        f"UNION ALL SELECT {columns} FROM findings f JOIN deliveries d USING (delivery_id) "
        "WHERE f.weight = 'stops' AND d.status = 'stopped' AND NOT EXISTS (SELECT 1 FROM deliveries n WHERE "
        "n.status = 'taken_in' AND n.site = d.site AND n.delivery_number = d.delivery_number)",
        _words(findings, *names),
    )
