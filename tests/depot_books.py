"""Asks a depot's books from a test."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from pathlib import Path
from typing import Any

from pipelines.depot.books.rows import Entry, Override, Record
from pipelines.depot.proof import ledger_problems
from pipelines.depot.storage import Depot


def records(depot: Path) -> list[Record]:
    """Every delivery of a depot."""
    with Depot(depot).opened() as books:
        return books.deliveries.all()


def ledger_lines(depot: Path) -> list[dict[str, Any]]:
    """Every line of a depot's ledger."""
    with Depot(depot).opened() as books:
        return [json.loads(entry.line()) for entry in books.ledger.entries()]


def faults_of_the_ledger(depot: Path) -> list[str]:
    """What does not fit in a depot's ledger."""
    place = Depot(depot)
    with place.opened():
        return ledger_problems(place)


def shelf(depot: Path) -> list[Entry]:
    """The releases of a depot."""
    with Depot(depot).opened() as books:
        return books.releases.all()


def decisions(depot: Path) -> tuple[Override, ...]:
    """What was decided on findings in a depot."""
    with Depot(depot).opened() as books:
        return books.decisions.all()


def bytes_of_the_books(depot: Path) -> bytes:
    """All files of a depot's books together."""
    return b"".join(path.read_bytes() for path in sorted(depot.glob("books.*")))


def content_of_the_books(depot: Path) -> list[str]:
    """Every row of the books as SQL; who opens them may lay the same rows out in other bytes."""
    with contextlib.closing(sqlite3.connect(f"file:{depot / 'books.sqlite'}?mode=ro", uri=True)) as books:
        return list(books.iterdump())
