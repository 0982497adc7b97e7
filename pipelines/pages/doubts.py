"""How far the outcomes that the pages show can be trusted at each site, read from ``outcome_uncertainties``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipelines.pages.outcomes_shown import Outcome

if TYPE_CHECKING:
    import duckdb

#: Column of ``outcome_uncertainties`` -> what a reader calls it.
PARTS = {
    "from_level_value": "the zero of the plates",
    "from_noise_value": "noise of the plates",
    "from_scale_value": "gain of the plates, or body mass",
    "from_lag_value": "the clock of force, or foot sensors, against markers",
    "from_events_value": "how contact and toe-off are found",
    "from_markers_value": "marker positions",
    "from_scatter_value": "scatter of few footfalls",
}


@dataclass(frozen=True)
class OutcomeDoubt:
    """One outcome at one site. middle, largest: standard uncertainty of one footfall over the site's trials.

    mostly: the part that is largest in the mean of squares, in words. trials: how many state it.
    """

    site: str
    outcome: Outcome
    middle: float
    largest: float
    mostly: str
    trials: int


def read_doubts(connection: duckdb.DuckDBPyConnection, shown: Sequence[Outcome]) -> tuple[OutcomeDoubt, ...]:
    """Of each site those of the shown outcomes that have an uncertainty, in the order in which they are shown."""
    by_key = {outcome.key: outcome for outcome in shown}
    parts = ", ".join(f"avg({name} ** 2)" for name in PARTS)
    rows = connection.execute(
        "SELECT t.site, u.outcome, median(standard_uncertainty_value), max(standard_uncertainty_value), count(*), "
        f"{parts} FROM outcome_uncertainties u JOIN trials t USING (trial_id) "
        "WHERE standard_uncertainty_value IS NOT NULL GROUP BY ALL"
    ).fetchall()
    order = list(by_key)
    found = [
        OutcomeDoubt(site, by_key[key], middle, largest, _mostly(squares), trials)
        for site, key, middle, largest, trials, *squares in rows
        if key in by_key
    ]
    return tuple(sorted(found, key=lambda one: (one.site, order.index(one.outcome.key))))


def _mostly(squares: Sequence[float | None]) -> str:
    known = {words: square for words, square in zip(PARTS.values(), squares, strict=True) if square is not None}
    return max(known, key=known.__getitem__) if known else ""
