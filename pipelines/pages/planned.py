"""What the page of answers says of the analysis plan: its comparisons, how sure each is, and what doubting it changed.

They are read from the warehouse here; how each is said is in ``planned_words``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from pipelines.pages.planned_words import Answer, CurveAnswer, DoseAnswer
from pipelines.pages.refits import Row
from pipelines.pages.words import counted, time_words
from schemas.codes_of_plans import PLAN_VARIANT
from schemas.compared import speed_word

if TYPE_CHECKING:
    import duckdb

Asked = TypeVar("Asked", Answer, CurveAnswer, DoseAnswer)
_WAYS = [code.value for code in PLAN_VARIANT]
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
    plan = plans[0]
    asked = json.loads(plan["plan_settings"])
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
        own = [answer for answer in answers if answer.row["family"] == family]
        if own:
            rule = _RULES[own[0].row["multiplicity"]]
            families.append((family, rule, tuple(_as_planned(own, asked.get(family, ())))))
    return Planned(
        plan["plan_state"],
        plan["plan_version"],
        plan["plan_sha256"],
        plan["frozen_utc"],
        plan["accepted_trial_count"],
        tuple(families),
        tuple(_as_planned(_curves(connection), asked.get("curves", ()))),
        flow,
        tuple(_as_planned(_doses(connection), asked.get("dose_responses", ()))),
    )


def _as_planned(answers: Iterable[Asked], planned: Sequence[Row]) -> list[Asked]:
    """The answers in the order of the plan, which the rows of a release do not keep. planned: its own settings."""
    places = [_identity(one) for one in planned]

    def place(answer: Asked) -> int:
        own = _identity(answer.row)
        return places.index(own) if own in places else len(places)

    return sorted(answers, key=place)


def _identity(row: Row) -> tuple[Any, ...]:
    """What tells one question of a plan from another, of its settings or of its row."""
    what = next(row[name] for name in ("outcome", "quantity", "response") if name in row)
    speed, at = row.get("set_speed_m_per_s"), row.get("at_speed")
    word = speed_word(speed) if speed is not None else at if at and at.endswith("m/s") else None
    condition, reference = (None if row.get(n) == "none" else row.get(n) for n in ("condition", "reference_condition"))
    return what, row.get("contrast"), row["visit"], condition, reference, word


def _flow(connection: duckdb.DuckDBPyConnection) -> tuple[tuple[str, dict[str, int]], ...]:
    sites: dict[str, dict[str, int]] = {}
    for row in rows_of(
        connection, "SELECT site, stage, runner_count FROM participant_flow ORDER BY site = 'all sites', site"
    ):
        sites.setdefault(row["site"], {})[row["stage"]] = row["runner_count"]
    return tuple(sites.items())


def _doses(connection: duckdb.DuckDBPyConnection) -> Iterator[DoseAnswer]:
    return (DoseAnswer(row) for row in rows_of(connection, "SELECT * FROM planned_dose_responses"))


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
    """The rows that doubt a main one, in the order in which the table's page lists the ways."""
    own = [row for row in rows if row["variant"] != "main" and all(row[name] == main[name] for name in _ASKED)]
    return sorted(own, key=lambda row: (_WAYS.index(row["variant"]), row["variant_detail"]))


def rows_of(connection: duckdb.DuckDBPyConnection, sql: str) -> list[Row]:
    """The answer to a question, by column."""
    answer = connection.execute(sql)
    names = [column[0] for column in answer.description or ()]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]
