"""What other deliveries, judged by today's code and study, have left in the depot."""

from __future__ import annotations

from pathlib import Path

from pipelines.depot.arrivals import Record, records
from pipelines.depot.desk import Desk
from pipelines.depot.storage import Depot, read_table


def current_records(desk: Desk) -> list[Record]:
    """Deliveries that were taken in and judged by today's code and study, in order of site and number."""
    return [r for r in records(desk.depot).values() if r.taken_in and r.made_by(desk.stamp)]


def column(depot: Depot, record: Record, table: str, name: str) -> list[str]:
    """One column of a table of a delivery that was taken in."""
    path: Path = depot.delivery_path(record.delivery_id) / f"{table}.parquet"
    return read_table(path)[name].tolist() if path.exists() else []
