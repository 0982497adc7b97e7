"""What other deliveries, judged by today's code and study, have left in the depot."""

from __future__ import annotations

from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk


def current_records(desk: Desk) -> list[Record]:
    """Deliveries that were taken in and judged by today's code and study, in order of site and number."""
    return desk.books.deliveries.current(desk.stamp)
