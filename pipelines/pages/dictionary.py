"""What the page of the data dictionary shows: every table by layer, as defined, and questions to begin with."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from schemas.catalogue import tables_of
from schemas.model import LAYER_MEANING, Table


@dataclass(frozen=True)
class Example:
    """A question to the warehouse. asks: in words; sql: of tables and views of every warehouse."""

    asks: str
    sql: str


#: Each runs on any warehouse, also one without an answer yet.
EXAMPLES = (
    Example(
        "What the analysis plan asks, with its answers",
        "SELECT outcome, contrast, visit, condition, estimate_value, lower_limit_value, upper_limit_value, interval "
        "FROM planned_contrasts WHERE family = 'primary' AND variant = 'main'",
    ),
    Example(
        "Who of all measured runners is in an answer, and why the others are not",
        "SELECT outcome, contrast, visit, condition, participation, runner_count FROM planned_participants",
    ),
    Example(
        "Footfalls averaged to trials and trials to runners, so that each runner counts once",
        "SELECT condition, set_speed_m_per_s, runner_count, contact_time_s FROM condition_overview",
    ),
    Example(
        "Why values are missing",
        "SELECT table_name, column_name, reason, count(*) AS nulls FROM outcome_nulls GROUP BY ALL ORDER BY nulls DESC",
    ),
)


def layers() -> Iterator[tuple[str, str, list[Table]]]:
    """Each layer that has tables: its name, what it is, its tables in the order of their definitions."""
    for layer, meaning in LAYER_MEANING.items():
        if own := list(tables_of(layer)):
            yield str(layer), meaning, own
