"""Published values that tests hold ours against: small tables, each with its source in its first line."""

from __future__ import annotations

import csv
from pathlib import Path

FOLDER = Path(__file__).resolve().parent


def rows(name: str) -> list[dict[str, str]]:
    """The rows of one table as text by column; what a column holds is in its name."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


def numbers(name: str) -> list[dict[str, float]]:
    """The rows of a table that holds nothing but numbers."""
    return [{column: float(cell) for column, cell in row.items()} for row in rows(name)]
