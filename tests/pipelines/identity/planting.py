"""Plants texts in small deliveries: in a trial file's parameter, in a table's cell, in names and in bag-info."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from tests.delivery_builders import planned

NOTE = b"Invented data of a simulated runner. No person was measured."


def c3d_saying(text: str, name: str = "1", runner: str = "FS-01") -> tuple[str, bytes]:
    """Path and content of a trial whose note says ``text`` instead."""
    trial, content = planned(runner, name)
    assert content.count(NOTE) == 1
    return trial.file, content.replace(NOTE, text.encode().ljust(len(NOTE))[: len(NOTE)])


def with_cell(bag: Path, table: str, column: str, value: str, row: int = 0) -> None:
    """Write ``value`` into a cell of a bag's table; the bag's checksums must be made anew afterwards."""
    path = bag / "data" / table
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    rows[row][column] = value
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
