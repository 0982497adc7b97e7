"""What the checks of a whole site look at: the pooled tables, cut into cells that may be compared. Registers no check.

The tables come as ``Context.outcomes``: ``runner_means`` (a row is a runner at one site and visit in one
condition at one speed), ``runners`` and ``sessions`` with their site, and ``device_sessions`` (a row is a quantity in a
session).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from checks.context import Pool
from schemas.catalogue import TABLES
from schemas.convert.words import unit_words
from schemas.model import SUFFIX_UNITS
from schemas.study import Study
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd


#: Outcomes compared between sites: one or two of each family, since they hang together and every cell costs power.
OUTCOMES = (
    "contact_time_s",
    "cadence_step_per_min",
    "step_length_m",
    "active_peak_bw",
    "average_loading_rate_bw_per_s",
    "braking_impulse_bw_s",
    "leg_stiffness_kn_per_m",
    "foot_strike_angle_deg",
)
#: Measured with tape and scales.
BODY_MEASURES = ("stature_m", "mass_kg", "leg_length_m")


@dataclass(frozen=True)
class Cell:
    """One column at one visit, condition and speed (body measures: none of them). values: site -> one per runner."""

    table: str
    column: str
    where: Mapping[str, str]
    values: Mapping[str, FloatArray]

    @property
    def unit(self) -> str:
        """The unit as it reads after a number; empty for none."""
        return unit_of(self.table, self.column)

    @property
    def place(self) -> str:
        """The column, and where it was looked at: contact_time_s, week 0, unshod."""
        return ", ".join([self.column, *(word.replace("_", " ") for word in self.where.values())])

    def others(self, site: str, least: float) -> dict[str, FloatArray]:
        """The other sites' values, of sites with at least ``least`` runners."""
        return {s: own for s, own in self.values.items() if s != site and len(own) >= least}


def unit_of(table: str, column: str) -> str:
    """The unit of a column as it reads after a number. table: as in the pool."""
    source = {"runner_means": "footfalls"}.get(table, table)
    return unit_words(TABLES[source].column(column).unit)


def outcome_cells(pool: Pool, columns: Sequence[str] = OUTCOMES, *, gaps: bool = False) -> Iterator[Cell]:
    """A cell for each outcome, visit, condition and speed. gaps: missing values stay in, as NaN."""
    apart = ["visit", "condition", "at_speed"]
    for words, rows in pool["runner_means"].groupby(apart, sort=True):
        where = {name: str(word) for name, word in zip(apart, words, strict=True)}
        for column, values in _by_site(rows, columns, gaps).items():
            yield Cell("runner_means", column, where, values)


def body_cells(pool: Pool, *, gaps: bool = False) -> Iterator[Cell]:
    """A cell for each body measure."""
    for column, values in _by_site(pool["runners"], BODY_MEASURES, gaps).items():
        yield Cell("runners", column, {}, values)


def _by_site(rows: pd.DataFrame, columns: Sequence[str], gaps: bool) -> dict[str, dict[str, FloatArray]]:
    """Column -> site -> values; without ``gaps`` only sites that have one."""
    listed = list(columns)
    of_sites = {str(site): own[listed].to_numpy(float) for site, own in rows.groupby("site", sort=True)}
    found: dict[str, dict[str, FloatArray]] = {}
    for place, column in enumerate(listed):
        values = {site: own[:, place] for site, own in of_sites.items()}
        if not gaps:
            values = {site: own[~np.isnan(own)] for site, own in values.items()}
        found[column] = {site: own for site, own in values.items() if gaps or len(own)}
    return found


def comparable(cells: Iterable[Cell], site: str, least: float, least_sites: float) -> list[Cell]:
    """The cells in which the site and enough others have at least ``least`` runners."""
    return [
        cell
        for cell in cells
        if len(cell.values.get(site, ())) >= least and len(cell.others(site, least)) >= least_sites
    ]


def too_few(least: float, least_sites: float) -> str:
    """Why no cell could be compared."""
    return (
        f"too few runners: at least {least:g} are needed at the site and at each of at least {least_sites:g} other "
        "sites, at the same visit in the same condition at the same speed"
    )


def records_force(study: Study, site: str) -> bool:
    """Whether the site's profile declares force plates."""
    known = study.sites.get(site)
    return known is None or known.profile.force_rate_hz is not None


def median_of(values: FloatArray) -> float:
    """The middle value."""
    return float(np.median(values))


def words_of(column: str) -> str:
    """A column's name without its unit, in words: contact time."""
    ending = max((e for e in SUFFIX_UNITS if column.endswith(e)), key=len, default="")
    return column.removesuffix(ending).replace("_", " ")


def about(cell: Cell, **more: Any) -> dict[str, Any]:
    """What the report says of an expectation on a cell."""
    return {"table": cell.table, "unit": cell.unit, **cell.where, **more}
