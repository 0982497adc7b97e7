"""What other deliveries, made with what is wanted today, have left in the depot."""

from __future__ import annotations

from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk


def current_records(desk: Desk) -> list[Record]:
    """Deliveries that were taken in and made with what is wanted today, in order of site and number."""
    return desk.books.deliveries.current(desk.made)
