"""Weeks of the change-over and the cautions about them, for the safety lead's page only. Read and arranged here.

This is health data of single runners: no other page may take it, and ``facts`` does not hold it. What raises a
caution is in ``pipelines.science.change_over.cautions``; the drawings are in ``charts.weeks`` and ``charts.trend``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from pipelines.pages.view import versions
from pipelines.science.change_over.cautions import KINDS, Caution, cautions
from schemas.processing import Processing

if TYPE_CHECKING:
    import duckdb

Row = TypeVar("Row")

#: Sign and short words of each caution, the weightiest first.
CAUTION_WORDS = {
    "substantial_problem": ("■", "substantial health problem"),
    "problem_not_followed_up": ("?", "problem not followed up"),
    "minutes_rise": ("↑", "minutes rose"),
    "share_rise": ("↑", "share rose"),
    "health_problem": ("▲", "health problem"),
}
#: Runners beyond these have no drawing, so that the page stays quick; their numbers are in its table.
MOST_DRAWN = 40
#: Weeks before the last of these are not drawn either: more bars could not be read on a phone.
MOST_WEEKS = 12


@dataclass(frozen=True)
class Week:
    """One week of one runner; None is not known, never zero."""

    participant_id: str
    week: int
    running_min: float | None
    new_footwear_min: float | None
    new_footwear_fraction: float | None
    symptom_severity_score: float | None
    substantial_problem: bool | None
    reason_null: str | None

    @property
    def problem(self) -> tuple[str, int] | None:
        """Sign and severity of a reported health problem."""
        severity = self.symptom_severity_score
        if not severity:
            return None
        sign, _ = CAUTION_WORDS["substantial_problem" if self.substantial_problem else "health_problem"]
        return sign, round(severity)

    @property
    def nothing(self) -> bool:
        """Whether neither log nor score is there."""
        return self.running_min is None and self.symptom_severity_score is None


@dataclass(frozen=True)
class JudgedWith:
    """Versions that judged one delivery."""

    code_version: str
    study_version: str


@dataclass(frozen=True)
class Kind:
    """One kind of caution with what it means and where its rule comes from."""

    caution: str
    about: str
    bases: tuple[str, ...]


@dataclass(frozen=True)
class ChangeOver:
    """Everything the page is made from. sites: runner -> sites with an accepted trial of theirs.

    judged_by: versions of code and study file, as in ``view.versions``.
    """

    weeks: dict[str, dict[int, Week]]
    cautions: tuple[Caution, ...]
    sites: dict[str, tuple[str, ...]]
    judged_by: tuple[str, str]

    @cached_property
    def span(self) -> range:
        """From the first to the last week that any runner reported."""
        known = [week for own in self.weeks.values() for week in own]
        return range(min(known), max(known) + 1) if known else range(0)

    @property
    def last_weeks(self) -> range:
        """The weeks that are drawn."""
        return self.span[-MOST_WEEKS:]

    def last_report(self, runner: str) -> int | None:
        """The last week of which a runner reported anything."""
        return max((number for number, week in self.weeks.get(runner, {}).items() if not week.nothing), default=None)

    @cached_property
    def listed(self) -> tuple[str, ...]:
        """Runners with a caution, in the order of the list."""
        return tuple(dict.fromkeys(c.participant_id for c in self.cautions))

    @cached_property
    def missing(self) -> int:
        """Weeks of which log or score is missing, up to each runner's last report."""
        return sum(week.reason_null is not None for own in self.weeks.values() for week in own.values())

    @cached_property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds that stand on the list, the weightiest first."""
        found = dict.fromkeys(sorted((c.caution for c in self.cautions), key=_rank))
        return tuple(
            Kind(name, KINDS[name], tuple(dict.fromkeys(c.basis for c in self.cautions if c.caution == name)))
            for name in found
        )


def read_change_over(connection: duckdb.DuckDBPyConnection, processing: Processing) -> ChangeOver:
    """All weeks, and the cautions that they give; the weightiest kind of caution first, then the latest week."""
    weeks: dict[str, dict[int, Week]] = {}
    for week in _rows(connection, Week, "transition_weeks ORDER BY participant_id, week"):
        weeks.setdefault(week.participant_id, {})[week.week] = week
    found = cautions(connection.sql("SELECT * FROM transition_weeks").df(), processing)
    sites = connection.execute(
        "SELECT participant_id, list(DISTINCT site ORDER BY site) FROM trials GROUP BY participant_id"
    ).fetchall()
    return ChangeOver(
        weeks,
        tuple(sorted(found, key=lambda c: (_rank(c.caution), -c.week, c.participant_id))),
        {runner: tuple(own) for runner, own in sites},
        versions(_rows(connection, JudgedWith, "deliveries ORDER BY received_utc, delivery_id")),
    )


def _rank(caution: str) -> int:
    kinds = list(CAUTION_WORDS)
    return kinds.index(caution) if caution in kinds else len(kinds)


def _rows(connection: duckdb.DuckDBPyConnection, cls: type[Row], source: str) -> Iterable[Row]:
    columns = ", ".join(f.name for f in fields(cls))  # type: ignore[arg-type]
    return [cls(*row) for row in connection.execute(f"SELECT {columns} FROM {source}").fetchall()]
