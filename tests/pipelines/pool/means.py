"""Runners' means out of a few rows of outcomes, by the questions the warehouse is asked."""

from __future__ import annotations

import duckdb
import pandas as pd

from pipelines.pool import made_from
from pipelines.pool.analyses import method_offsets, move_trial_values, runner_means
from schemas.catalogue import TABLES
from schemas.convert.to_duckdb import create_table_sql
from schemas.model import Layer
from tests.pipelines.pages.small_warehouse import Rows

PLACE = {"participant_id": "R1", "site": "brack", "visit": "week_0"}
#: Trial T1 and session S1 are those of rows that name no other.
SPEED = {"set_speed_m_per_s": 3.0}
TRIALS = [{"trial_id": "T1", "session_id": "S1", "condition": "shod", **PLACE, **SPEED}]


def means_of(rows: Rows, trial_weights: str = "equal") -> pd.DataFrame:
    """The means of all trials in ``rows``; those of ``TRIALS`` if there are none. What is left out is null."""
    with _filled(rows) as connection:
        return runner_means(connection, trial_weights)


def offsets_of(rows: Rows) -> pd.DataFrame:
    """By how much methods differ at each site."""
    with _filled(rows) as connection:
        return method_offsets(connection)


def _filled(rows: Rows) -> duckdb.DuckDBPyConnection:
    filled = {"trials": TRIALS, "sessions": [{"session_id": "S1", **PLACE}], **rows}
    connection = duckdb.connect()
    made_from.begin(connection)
    for table in TABLES.values():
        if table.layer is not Layer.DELIVERY:
            connection.execute(create_table_sql(table).replace(" NOT NULL", ""))
            for row in filled.get(table.name, []):
                columns, marks = ", ".join(row), ", ".join("?" * len(row))
                connection.execute(f"INSERT INTO {table.name} ({columns}) VALUES ({marks})", list(row.values()))
    connection.execute("CREATE TEMP TABLE leaving (trial_id VARCHAR)")
    connection.execute("CREATE TEMP TABLE entering AS SELECT trial_id FROM trials")
    move_trial_values(connection)
    return connection
