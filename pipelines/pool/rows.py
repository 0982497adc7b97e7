"""Rows that were made here take the place of those of before in a table of the warehouse."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schemas.convert.to_arrow import to_arrow_table
from schemas.convert.to_duckdb import quote_name
from schemas.model import Table

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


def replace_rows(connection: duckdb.DuckDBPyConnection, table: Table, frame: pd.DataFrame, where: str = "true") -> None:
    """Delete the rows ``where`` and insert ``frame``, which has every column of the table."""
    connection.execute(f"DELETE FROM {quote_name(table.name)} WHERE {where}")
    connection.register("rows", to_arrow_table(table, frame[list(table.column_names)]))
    connection.execute(f"INSERT INTO {quote_name(table.name)} BY NAME SELECT * FROM rows")
    connection.unregister("rows")
