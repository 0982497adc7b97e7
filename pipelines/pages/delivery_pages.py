"""One page per delivery: what it brought, what became of each trial and why. Withheld trials are a number only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipelines.pages.digest import digest_of
from pipelines.pages.view import DeliveryRow, delivery_rows, reason_line

if TYPE_CHECKING:
    from pipelines.pages.facts import Facts, Finding, Standing


@dataclass(frozen=True)
class TrialRow:
    """One trial of the delivery. why: it went back, or what was noted; has_sheet: whether it still waits."""

    standing: Standing
    why: str
    has_sheet: bool


@dataclass(frozen=True)
class DeliveryPage:
    """One delivery. tables: its findings that touch no single trial."""

    row: DeliveryRow
    trials: tuple[TrialRow, ...]
    tables: tuple[Finding, ...]

    def made_from(self, *look: object) -> str:
        """The hash of everything on the page. look: what it is shown with."""
        return digest_of(self.row, self.trials, self.tables, look)


def delivery_pages(facts: Facts) -> Iterator[DeliveryPage]:
    """The page of every delivery, in order of arrival."""
    of: dict[str, list[Standing]] = {}
    for standing in facts.standings:
        if standing.trial_id is not None:
            of.setdefault(standing.delivery_id, []).append(standing)
    for row in delivery_rows(facts):
        name = row.delivery.delivery_id
        trials = tuple(_trial(facts, standing) for standing in of.get(name, ()))
        yield DeliveryPage(row, trials, facts.findings_on.get((name, None), ()))


def _trial(facts: Facts, standing: Standing) -> TrialRow:
    found = facts.findings_on.get((standing.delivery_id, standing.trial_id), ())
    if standing.standing == "returned":
        return TrialRow(standing, reason_line(found), not standing.superseded)
    return TrialRow(standing, " ".join(f.seen for f in found if f.consequence_of is None), False)
