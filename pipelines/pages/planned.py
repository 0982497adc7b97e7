"""What the page of answers says of the analysis plan: its comparisons, how sure each is, and what doubting it changed.

They are read from the warehouse here; how each is said is in ``planned_words``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.pages.planned_words import Answer, CurveAnswer, DoseAnswer, Row
from pipelines.pages.words import counted, time_words

if TYPE_CHECKING:
    import duckdb

_RULES = {"holm": "Holm", "benjamini_hochberg": "Benjamini-Hochberg", "none": "not adjusted"}


@dataclass(frozen=True)
class Planned:
    """The plan in force and its answers by family; state None without a plan."""

    state: str | None
    version: str
    sha256: str
    frozen_utc: str | None
    trials_then: int | None
    families: tuple[tuple[str, str, tuple[Answer, ...]], ...]  # family, rule in words, answers
    curves: tuple[CurveAnswer, ...] = ()
    flow: tuple[tuple[str, dict[str, int]], ...] = ()  # site, how many runners came how far; all sites last
    doses: tuple[DoseAnswer, ...] = ()
    taken_away: tuple[Row, ...] = ()  # of analysis_plans: what was frozen once, where no plan is there any more

    @property
    def without(self) -> str:
        """That there is no plan, in a sentence, and what became of one that was frozen."""
        if not self.taken_away:
            return (
                "There is no analysis plan (plan.yaml beside the study file): everything on this page is exploratory."
            )
        last = max(self.taken_away, key=lambda row: str(row["frozen_utc"]))
        return (
            f"Version {last['plan_version']} of an analysis plan was frozen on {time_words(str(last['frozen_utc']))}, "
            "and its plan.yaml was taken away since: nothing on this page answers it, and everything is exploratory."
        )

    @property
    def standing(self) -> str:
        """Whether the plan was frozen, in a sentence."""
        if self.state == "frozen":
            when = time_words(self.frozen_utc or "")
            return f"It was frozen on {when}, when {counted(self.trials_then or 0, 'trial')} had been accepted."
        if self.state == "changed":
            return (
                "Not the frozen one: the plan, or what it leaves to the study file (reference condition, visits, how "
                "outcomes are made and compared), was changed since, and nothing below is confirmed by it."
            )
        return "It was never frozen: nobody can tell whether it was made before the data were seen."


def read_planned(connection: duckdb.DuckDBPyConnection) -> Planned:
    """The plan in force with its answers, in the order of the plan's families."""
    plans = rows_of(connection, "SELECT * FROM analysis_plans WHERE plan_state <> 'replaced'")
    flow = _flow(connection)
    if not plans:
        gone = rows_of(connection, "SELECT * FROM analysis_plans WHERE frozen_utc IS NOT NULL")
        return Planned(None, "", "", None, None, (), (), flow, taken_away=tuple(gone))
    rows = rows_of(connection, "SELECT * FROM planned_contrasts")
    lacks, participation = _lacks(connection), _participation(connection)
    answers = [
        Answer(
            row,
            tuple(_of(row, rows)),
            lacks.get(tuple(row[name] for name in _COMPARED), ()),
            participation.get(tuple(row[name] for name in _ASKED), ()),
        )
        for row in rows
        if row["variant"] == "main"
    ]
    families = []
    for family in ("primary", "secondary"):
        own = tuple(answer for answer in answers if answer.row["family"] == family)
        if own:
            families.append((family, _RULES[own[0].row["multiplicity"]], own))
    plan = plans[0]
    return Planned(
        plan["plan_state"],
        plan["plan_version"],
        plan["plan_sha256"],
        plan["frozen_utc"],
        plan["accepted_trial_count"],
        tuple(families),
        tuple(_curves(connection)),
        flow,
        tuple(DoseAnswer(row) for row in rows_of(connection, "SELECT * FROM planned_dose_responses")),
    )


def _flow(connection: duckdb.DuckDBPyConnection) -> tuple[tuple[str, dict[str, int]], ...]:
    sites: dict[str, dict[str, int]] = {}
    for row in rows_of(
        connection, "SELECT site, stage, runner_count FROM participant_flow ORDER BY site = 'all sites', site"
    ):
        sites.setdefault(row["site"], {})[row["stage"]] = row["runner_count"]
    return tuple(sites.items())


def _curves(connection: duckdb.DuckDBPyConnection) -> Iterator[CurveAnswer]:
    asked = ("quantity", "contrast", "visit", "condition", "reference_condition")
    points: dict[tuple[Any, ...], list[tuple[int, float, float, float]]] = {}
    for row in rows_of(connection, "SELECT * FROM planned_curve_points ORDER BY ALL"):
        ends = row["estimate_value"], row["lower_limit_value"], row["upper_limit_value"]
        if None not in ends:
            points.setdefault(tuple(row[name] for name in asked), []).append((row["point_number"], *ends))
    for row in rows_of(connection, "SELECT * FROM planned_curves"):
        yield CurveAnswer(row, (), points=tuple(sorted(points.get(tuple(row[name] for name in asked), ()))))


_COMPARED = ("outcome", "contrast", "visit", "condition", "reference_condition")
_WHY = f"""
SELECT {", ".join(_COMPARED)}, reason, sum(runner_count)::BIGINT AS runner_count FROM lacking_in_contrasts
WHERE outcome IN (SELECT outcome FROM planned_contrasts WHERE variant = 'main'
  AND lacking_value_count + lacking_reference_count + lacking_both_count > 0)
GROUP BY ALL ORDER BY runner_count DESC, reason
"""


def _lacks(connection: duckdb.DuckDBPyConnection) -> dict[tuple[Any, ...], tuple[tuple[str, int], ...]]:
    """Of each comparison of which somebody lacks a value, the reasons, by whatever method and at whatever speed."""
    told: dict[tuple[Any, ...], list[tuple[str, int]]] = {}
    for row in rows_of(connection, _WHY):
        told.setdefault(tuple(row[name] for name in _COMPARED), []).append((row["reason"], row["runner_count"]))
    return {asked: tuple(own) for asked, own in told.items()}


_ASKED = ("outcome", "contrast", "visit", "condition", "reference_condition", "at_speed")


def _participation(connection: duckdb.DuckDBPyConnection) -> dict[tuple[Any, ...], tuple[tuple[str, int], ...]]:
    """Of each comparison how many runners are in it, and why others are not."""
    told: dict[tuple[Any, ...], list[tuple[str, int]]] = {}
    for row in rows_of(connection, "SELECT * FROM planned_participants"):
        told.setdefault(tuple(row[name] for name in _ASKED), []).append((row["participation"], row["runner_count"]))
    return {asked: tuple(own) for asked, own in told.items()}


def _of(main: Row, rows: Sequence[Row]) -> list[Row]:
    return [row for row in rows if row["variant"] != "main" and all(row[name] == main[name] for name in _ASKED)]


def rows_of(connection: duckdb.DuckDBPyConnection, sql: str) -> list[Row]:
    """The answer to a question, by column."""
    answer = connection.execute(sql)
    names = [column[0] for column in answer.description or ()]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]
