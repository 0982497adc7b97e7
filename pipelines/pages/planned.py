"""What the page of answers says of the analysis plan: its comparisons, how sure each is, and what doubting it changed.

Nothing is computed here but counts: the numbers are those of ``planned_contrasts``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.pages.words import counted, outcome_words, short_unit, signed, time_words
from schemas.compared import OF_ENERGY, SOURCES
from schemas.model import suffix_unit
from schemas.outcomes_study import ENERGY_BOUTS

if TYPE_CHECKING:
    import duckdb

Row = dict[str, Any]
_AGAINST = {
    "matters": "larger than the smallest effect",
    "too_small": "too small to matter",
    "is_there": "there, perhaps too small to matter",
    "open": "not decided",
}
_RULES = {"holm": "Holm", "benjamini_hochberg": "Benjamini-Hochberg", "none": "not adjusted"}
_VARIANTS = {
    "without_overridden": "without overridden trials",
    "without_noted": "without noted trials",
    "uncertainty_weights": "weighed by uncertainty",
    "other_model": "by the other model",
    "without_covariates": "without covariates",
}


@dataclass(frozen=True)
class Answer:
    """One planned comparison: its row as planned, and those that doubt it."""

    row: Row
    doubts: tuple[Row, ...]

    @property
    def title(self) -> str:
        """The outcome, or the quantity of a curve, in words."""
        return outcome_words(self.row.get("outcome") or self.row["quantity"])

    @property
    def words(self) -> str:
        """What is compared, without the outcome."""
        row = self.row
        condition, reference, visit, first = (
            str(row[name]).replace("_", " ")
            for name in ("condition", "reference_condition", "visit", "reference_visit")
        )
        if row["contrast"] == "visit":
            return f"{condition}, from {first} to {visit}"
        change = f", its change from {first} to {visit}" if row["contrast"] == "interaction" else f" at {visit}"
        return f"{condition} less {reference}{change}"

    @property
    def digits(self) -> int:
        """After the point: two figures of the interval's width, or of the estimate."""
        row = self.row
        size = abs(row["estimate_value"] or 0.0)
        if row["lower_limit_value"] is not None:
            size = row["upper_limit_value"] - row["lower_limit_value"]
        return min(max(1 - math.floor(math.log10(size)), 0), 6) if size > 0 else 3

    @property
    def unit(self) -> str:
        """Of the outcome."""
        column = self.row["outcome"].split("/")[-1]
        table = ENERGY_BOUTS if column in OF_ENERGY else next(s.table for s in SOURCES if column in s.outcomes)
        return short_unit(table.column(column).unit)

    @property
    def verdict(self) -> str:
        """Where the interval lies against the smallest effect, or why there is none."""
        row = self.row
        if row["reason_null"]:
            return f"no answer: {row['reason_null']}"
        if row["against_smallest_effect"] is None:
            return "no smallest effect is set"
        smallest = f"{row['smallest_effect_value']:g}{'' if self.unit == '°' else ' '}{self.unit}"
        return f"{_AGAINST[row['against_smallest_effect']]} ({smallest.strip()})"

    @property
    def made_of(self) -> str:
        """Of whom, and by which model, in a line."""
        row = self.row
        model = "mixed model" if row["pooling_method"] == "one_stage_mixed_model" else "random effects"
        allowed = "" if row["covariates"] == "none" else f" allowing for {row['covariates'].replace(', ', ' and ')}"
        return f"{counted(row['runner_count'], 'runner')} at {counted(row['site_count'], 'site')}, {model}{allowed}"

    @property
    def limits(self) -> list[str]:
        """What had to be left out, and who lacks what."""
        row = self.row
        found = row["reason_simpler"].split("; ") if row["reason_simpler"] else []
        lost = (row["measured_count"] or 0) - (row["runner_count"] or 0)
        if lost > 0 and row["runner_count"]:
            found.append(f"{row['measured_count']} were measured, the others lack a value or a covariate")
        later, earlier = row["condition_later_count"] or 0, row["condition_earlier_count"] or 0
        if row["contrast"] == "condition" and "order" not in row["covariates"] and is_one_sided(later, earlier):
            found.append(f"{later} ran it after and {earlier} before the other: what comes last is in the answer")
        if row["excluded_trial_count"]:
            found.append(f"{counted(row['excluded_trial_count'], 'trial')} left out by the plan")
        return list(dict.fromkeys(found))

    @property
    def each(self) -> list[tuple[str, Row]]:
        """The row as planned and those that doubt it, each with its words."""
        return [("as planned", self.row), *((variant_words(row), row) for row in self.doubts)]

    @property
    def doubted(self) -> str:
        """What came of doubting it, in a line."""
        told = self._told
        if not self.doubts:
            return "no other analysis is planned"
        if not told:
            return f"none of {counted(len(self.doubts), 'other analysis', 'other analyses')} has an answer"
        ends = [signed(pick(row["estimate_value"] for row in told), self.digits) for pick in (min, max)]
        others = len(self.otherwise)
        said = f"{others} {'says' if others == 1 else 'say'} otherwise" if others else "all say the same"
        return f"{len(told)} of {len(self.doubts)} answer: {ends[0]} to {ends[1]}; {said}"

    @property
    def otherwise(self) -> list[str]:
        """The ways of doubting that say something else than the analysis as planned."""
        return [variant_words(row) for row in self._told if _said(row) != _said(self.row)]

    @property
    def _told(self) -> list[Row]:
        return [row for row in self.doubts if row["estimate_value"] is not None]


@dataclass(frozen=True)
class CurveAnswer(Answer):
    """One planned comparison of curves. points: number, mean difference, lower and upper end of the band."""

    points: tuple[tuple[int, float, float, float], ...] = ()

    @property
    def unit(self) -> str:
        """Of the quantity."""
        return short_unit(suffix_unit(self.row["quantity"]))


def _said(row: Row) -> str | None:
    if row["against_smallest_effect"] is not None:
        return str(row["against_smallest_effect"])
    lower, upper = row["lower_limit_value"], row["upper_limit_value"]
    return None if lower is None else "above" if lower > 0 else "below" if upper < 0 else "open"


def variant_words(row: Row) -> str:
    """A way of doubting an answer."""
    detail = str(row["variant_detail"])
    if row["variant"] == "without_site":
        return f"without {detail}"
    return f"by {detail} alone" if row["variant"] == "one_event_method" else _VARIANTS[row["variant"]]


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

    @property
    def standing(self) -> str:
        """Whether the plan was frozen, in a sentence."""
        if self.state == "frozen":
            when = time_words(self.frozen_utc or "")
            return f"It was frozen on {when}, when {counted(self.trials_then or 0, 'trial')} had been accepted."
        if self.state == "changed":
            return "Another plan was frozen: this one was changed since, and nothing below is confirmed by it."
        return "It was never frozen: nobody can tell whether it was made before the data were seen."


def read_planned(connection: duckdb.DuckDBPyConnection) -> Planned:
    """The plan in force with its answers, in the order of the plan's families."""
    plans = rows_of(connection, "SELECT * FROM analysis_plans WHERE plan_state <> 'replaced'")
    flow = _flow(connection)
    if not plans:
        return Planned(None, "", "", None, None, (), (), flow)
    rows = rows_of(connection, "SELECT * FROM planned_contrasts")
    answers = [Answer(row, tuple(_of(row, rows))) for row in rows if row["variant"] == "main"]
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
        yield CurveAnswer(row, (), tuple(sorted(points.get(tuple(row[name] for name in asked), ()))))


_ASKED = ("outcome", "contrast", "visit", "condition", "reference_condition", "at_speed")


def _of(main: Row, rows: Sequence[Row]) -> list[Row]:
    return [row for row in rows if row["variant"] != "main" and all(row[name] == main[name] for name in _ASKED)]


def is_one_sided(later: int, earlier: int) -> bool:
    """Whether a coin would come down so unequally in less than 5 % of times, both sides counted (binomial)."""
    count = later + earlier
    rarer = sum(math.comb(count, n) for n in range(min(later, earlier) + 1))
    return 40 * rarer < 1 << count


def rows_of(connection: duckdb.DuckDBPyConnection, sql: str) -> list[Row]:
    """The answer to a question, by column."""
    answer = connection.execute(sql)
    names = [column[0] for column in answer.description or ()]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]
