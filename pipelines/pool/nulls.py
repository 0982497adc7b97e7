"""Nulls of outcomes with their reasons, and what of them is lacking in comparisons: SQL of two views."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from pipelines.pool.null_rules import OF_RECORDINGS, Explained, listed
from pipelines.pool.null_rules_of_equipment import OF_EQUIPMENT
from pipelines.pool.null_rules_of_study import OF_STUDY
from schemas.catalogue import TABLES
from schemas.compared import OF_ENERGY
from schemas.convert.to_duckdb import quote_name, quote_text
from schemas.model import Kind, Table

EXPLAINED = (*OF_RECORDINGS, *OF_EQUIPMENT, *OF_STUDY)
_WORD = re.compile(r"\w+")


def outcome_nulls(present: Iterable[Table]) -> str:
    """SQL of all nulls with their reasons, of the tables and columns that are present."""
    columns = {table.name: frozenset(table.column_names) for table in present}
    return "\nUNION ALL\n".join(part for one in EXPLAINED for part in _parts(one, columns))


def _parts(one: Explained, present: Mapping[str, frozenset[str]]) -> Iterator[str]:
    """A part for each of its groups of columns, less what is not present or whose rules look at what is not."""
    needed = set(_WORD.findall(one.source)) & set(TABLES)
    gone = {name for table in needed for name in TABLES[table].column_names if name not in present.get(table, ())}
    if not needed <= set(present) or not gone.isdisjoint((*_WORD.findall(one.source), *one.key)):
        return
    row = " || ', ' || ".join(f"{quote_text(name + ' ')} || {quote_name(name)}" for name in one.key) or "''"
    trial = "trial_id" if "trial_id" in one.table.column_names else "NULL"
    apart = "".join(f"{quote_name(name)} || '/' || " for name in one.apart)
    outcome = f"{apart}column_name" if one.compared else "NULL"
    for every, rules in (*one.rules, (_without_rules(one), ())):
        names = [name for name in every if name not in gone]
        if not names or not gone.isdisjoint(_WORD.findall(" ".join(sql for _, sql in rules))):
            continue
        cases = " ".join(f"WHEN {sql} THEN {quote_text(reason)}" for reason, sql in rules)
        reason = f"CASE {cases} ELSE 'unexplained' END" if cases else "'unexplained'"
        lacks = ", ".join(f"{quote_name(name)} IS NULL" for name in names)
        yield (
            f"SELECT {quote_text(one.table.name)} AS table_name, whose AS trial_id, row_words, column_name, outcome, "
            f"reason FROM ("
            f"SELECT whose, {row} AS row_words, column_name, {outcome} AS outcome, lacks, reason FROM ("
            f"SELECT *, {trial} AS whose, unnest([{listed(names)}]) AS column_name, "
            f"unnest([{lacks}]) AS lacks, {reason} AS reason FROM ({one.source}))) WHERE lacks"
        )


def _without_rules(one: Explained) -> tuple[str, ...]:
    """Its columns that may be null and hold no words, without rules: that they never are is looked at all the same."""
    known = {name for names, _ in one.rules for name in names} | {"reason_null"}
    return tuple(f.name for f in one.table.fields if f.nullable and f.kind is not Kind.TEXT and f.name not in known)


def lacking_in_contrasts(speed: str) -> str:
    """SQL of the reasons why runners lack a value in a comparison of conditions or visits. speed: SQL of a trial's."""
    bouts = " UNION ALL ".join(
        f"SELECT s.participant_id, s.site, s.visit, e.condition, {speed.replace('set_', 'e.set_')} AS speed, "
        f"'none' AS event_method, {quote_text(name)} AS outcome, e.reason_null AS reason "
        f"FROM energy_bouts e JOIN sessions s USING (session_id) WHERE e.{name} IS NULL"
        for name in OF_ENERGY
    )
    same = " AND ".join(f"n.{name} = c.{name}" for name in ("participant_id", "site", "outcome", "event_method"))
    asked = "outcome, contrast, visit, reference_visit, condition, reference_condition, site, set_speed_m_per_s"
    return f"""
WITH methods AS (SELECT trial_id, any_value(event_method) AS event_method FROM footfalls GROUP BY trial_id),
lacks AS (
  SELECT DISTINCT t.participant_id, t.site, t.visit, t.condition, {speed.replace("set_", "t.set_")} AS speed,
    coalesce(m.event_method, 'none') AS event_method, n.outcome, n.reason
  FROM outcome_nulls n JOIN trials t USING (trial_id) LEFT JOIN methods m USING (trial_id) WHERE n.outcome IS NOT NULL
  UNION {bouts}),
sides AS (
  SELECT *, visit AS side_visit, condition AS side_condition FROM runner_contrasts
  WHERE contrast <> 'interaction' AND reason_null IN ('no_value', 'no_value_in_either')
  UNION ALL
  SELECT *, reference_visit, reference_condition FROM runner_contrasts
  WHERE contrast <> 'interaction' AND reason_null IN ('no_value_in_reference', 'no_value_in_either'))
SELECT {", ".join(f"c.{name.strip()}" for name in asked.split(","))}, c.event_method, c.reason_null AS lacks,
  coalesce(n.reason, 'not_recorded') AS reason, count(DISTINCT c.participant_id) AS runner_count
FROM sides c LEFT JOIN lacks n ON {same} AND n.visit = c.side_visit AND n.condition = c.side_condition
  AND n.speed = c.set_speed_m_per_s
GROUP BY ALL"""
