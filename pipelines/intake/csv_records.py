"""Splits the text of a delivered table into its records: where each begins, what it is, how it stands in the file.

Whatever reads or rewrites a delivered table does it with this, so that all see the same rows. What the cells of a
column must be is a matter for ``pipelines.intake.tables``.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from pipelines.intake.spreadsheet import says_comma

#: Limits on what is read at all, as memory and time must be bounded whatever a file holds.
MOST_LINES = 500_000
MOST_CHARACTERS = 1 << 20  # of one record

#: Line ends of CSV; form feeds and separators of Unicode are none.
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")


class Role(Enum):
    """What a record of a table is. BLANK: no filled cell, or a first line that only names the comma."""

    EMPTY = "a line without any cell"
    BLANK = "cells, none of them filled"
    HEADER = "the names of the columns"
    ROW = "one cell for each column"
    RAGGED = "more or fewer cells than columns"


@dataclass(frozen=True)
class CsvRecord:
    """One record. line: on which it begins, from 1; text: as it stands in the file, with its line end.

    cells: of the header without outer spaces and without unnamed columns at its end; of others as they are, without
    empty ones beyond the last column.
    """

    role: Role
    line: int
    cells: list[str]
    text: str


def records(text: str) -> Iterator[CsvRecord]:
    """The records of a table in their order; their texts together are ``text``.

    Raises csv.Error for quotes that are not closed or stand within a cell, and beyond the limits.
    """
    taken: list[str] = []
    reader = csv.reader(_lines(text, taken), strict=True)
    begins, width = 1, None
    for cells in reader:
        role = _role(cells, width)
        if role is Role.HEADER:
            cells = [cell.strip() for cell in cells]
            while not cells[-1]:
                cells.pop()
            width = len(cells)
        yield CsvRecord(role, begins, cells, "".join(taken))
        begins = reader.line_num + 1
        taken.clear()


def _role(cells: list[str], width: int | None) -> Role:
    """What the cells are; width: of the header, None before it. Empty cells beyond it are taken off."""
    while width is not None and len(cells) > width and not cells[-1].strip():
        cells.pop()
    if not cells:
        return Role.EMPTY
    if not any(cell.strip() for cell in cells) or (width is None and says_comma(cells)):
        return Role.BLANK
    if width is None:
        return Role.HEADER
    return Role.ROW if len(cells) == width else Role.RAGGED


def _lines(text: str, taken: list[str]) -> Iterator[str]:
    """Line by line with one kind of line end. taken: gets the lines of the present record as they stand."""
    length = 0
    for number, found in enumerate(_LINE.finditer(text), 1):
        line = found[0]
        length = len(line) + (length if taken else 0)
        if length > MOST_CHARACTERS:
            raise csv.Error(f"a row of more than {MOST_CHARACTERS} characters, or a quote that is never closed")
        if number > MOST_LINES:
            raise csv.Error(f"more than {MOST_LINES} lines")
        taken.append(line)
        bare = line.rstrip("\r\n")
        yield line if bare == line else f"{bare}\n"
