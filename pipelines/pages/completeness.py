"""What is there of each site, visit and condition, and of what the study file plans. Nothing here knows HTML."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from pipelines.pages.facts import Facts, Standing

#: Site, visit and condition -> runners, as the study file plans them.
Planned = Mapping[str, Mapping[str, Mapping[str, int]]]


@dataclass
class Cell:
    """Trials of one site, visit and condition, without withheld ones. runners: with an accepted running trial.

    decided: accepted trials of any kind that a data manager accepted in spite of a finding. planned: how many runners
    the study file plans, None if it plans none here.
    """

    planned: int | None = None

    runners: set[str | None] = field(default_factory=set)
    running: int = 0
    others: int = 0  # accepted trials of any other kind
    returned: int = 0
    decided: int = 0

    def add(self, standing: Standing) -> None:
        """Count one trial."""
        self.decided += standing.accepted_by_override
        if standing.standing == "returned":
            self.returned += 1
        elif standing.kind == "running":
            self.running += 1
            self.runners.add(standing.participant_id)
        else:
            self.others += 1

    @property
    def empty(self) -> bool:
        """Whether nothing came."""
        return not (self.running or self.others or self.returned)

    @property
    def reached(self) -> int:
        """Planned runners that are there; more than were planned count as many as were."""
        return min(len(self.runners), self.planned or 0)


@dataclass(frozen=True)
class Grid:
    """Completeness: rows (site, visit) by columns (condition); None stands for a word the study does not have.

    withheld: site -> number of trials, which are not told apart any further.
    """

    columns: tuple[str | None, ...]
    rows: tuple[tuple[str, str | None, tuple[Cell, ...]], ...]
    withheld: dict[str, int]

    @property
    def cells(self) -> Iterator[Cell]:
        """Every cell."""
        for _, _, cells in self.rows:
            yield from cells

    @property
    def planned(self) -> int:
        """Runners planned over all visits and conditions; each counts once in each."""
        return sum(cell.planned or 0 for cell in self.cells)

    @property
    def reached(self) -> int:
        """How many of these are there."""
        return sum(cell.reached for cell in self.cells)


def completeness(facts: Facts, sites: Sequence[str], planned: Planned) -> Grid:
    """What is there of each visit and condition; every planned cell is shown, also an empty one."""
    cells: dict[tuple[str, str | None, str | None], Cell] = {}

    def cell(site: str, visit: str | None, condition: str | None) -> Cell:
        key = (site, visit, condition)
        if key not in cells:
            number = planned.get(site, {}).get(visit or "", {}).get(condition or "")
            cells[key] = Cell(planned=number)
        return cells[key]

    for standing in (s for s in facts.current if s.standing != "withheld"):
        visit = standing.visit if standing.visit in facts.visits else None
        condition = standing.condition if standing.condition in facts.conditions else None
        cell(standing.site, visit, condition).add(standing)
    of_sites = [key for key in cells if key[0] in sites]
    columns = (*facts.conditions, *([None] if any(key[2] is None for key in of_sites) else []))
    rows = [
        (site, visit, tuple(cell(site, visit, condition) for condition in columns))
        for site in sites
        for visit in (*facts.visits, *([None] if any(key[:2] == (site, None) for key in of_sites) else []))
    ]
    withheld = Counter(s.site for s in facts.current if s.standing == "withheld")
    return Grid(columns, tuple(rows), {site: withheld[site] for site in sites if withheld[site]})
