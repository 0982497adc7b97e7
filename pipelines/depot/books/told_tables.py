"""The table of the books about rows that several deliveries tell; beside ``tables``, and part of the same form."""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.depot.books.tables import META, of_delivery, text_column

#: ``pipelines.depot.books.rows.ToldRow`` by delivery. told_table: the delivery's table; row_id: the session or runner.
TOLD_ROWS = sa.Table(
    "told_rows",
    META,
    of_delivery(),
    text_column("told_table", key=True),
    text_column("row_id", key=True),
    text_column("sent"),
    text_column("given"),
    text_column("taken"),
    sa.Index(None, "row_id", "told_table"),
)
