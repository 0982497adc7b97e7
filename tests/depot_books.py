"""Asks a depot's books from a test."""

from __future__ import annotations

from pathlib import Path

from pipelines.depot.books.rows import Record
from pipelines.depot.storage import Depot


def records(depot: Path) -> list[Record]:
    """Every delivery of a depot."""
    with Depot(depot).opened() as books:
        return books.deliveries.all()
