"""Reads the CSV tables of a payload as strings and gives each its shape. What the rows mean is a matter for checks."""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from pipelines.intake.consent_forms import forms_not_understood, with_forms
from pipelines.intake.csv_records import CsvRecord, Role, records
from pipelines.intake.spreadsheet import (
    EXPORT_AGAIN,
    decimal_commas,
    is_split_number,
    not_a_csv,
    other_separator,
    quoted_separator,
)
from schemas.catalogue import tables_of
from schemas.delivery import SENT_CONSENTS
from schemas.model import Layer, Table
from schemas.received import Problem

if TYPE_CHECKING:
    import pandas as pd

#: Limits on what is read at all; the largest table of a study of many labs has some thousand rows. Together they bound
#: memory and time: a file can hold more rows, or a row more cells, than the memory of the machine.
MOST_BYTES = 32 << 20
MOST_ROWS = 200_000
MOST_COLUMNS = 500
MOST_RAGGED_SHOWN = 20


class Tables(NamedTuple):
    """The delivery tables of a payload by name, typed, with the columns of their definitions, and what is wrong.

    consents: the bytes of consents.csv as they were read, for what its rows do not hold; empty if there are none.
    """

    frames: dict[str, pd.DataFrame]
    problems: list[Problem]
    consents: bytes


def read_tables(payload_dir: Path, forms: Collection[str] = ()) -> Tables:
    """Every delivery table, and what could not be taken as it was.

    A table that is missing or cannot be read is an empty frame. Problems are of the kinds "table" (file or rows),
    "column", "cell" and "key". forms: versions of the consent form that the study names. Never raises on what a lab
    wrote.
    """
    from schemas.convert.to_arrow import empty_frame
    from schemas.convert.to_pandera import shape_problems

    tables: dict[str, pd.DataFrame] = {}
    problems: list[Problem] = []
    consents = b""
    for table in tables_of(Layer.DELIVERY):
        data, frame, own = _read(payload_dir, table)
        problems += own
        if table is SENT_CONSENTS:
            consents = data
        if frame is None:
            tables[table.name] = empty_frame(table)
        else:
            typed, shape = shape_problems(table, frame, str(table.file_name))
            if table is SENT_CONSENTS:
                problems += with_forms(shape, forms)
                typed, unknown = forms_not_understood(typed, frame.index.tolist(), forms)
                problems += unknown
            else:
                problems += shape
            tables[table.name] = typed
    return Tables(tables, problems, consents)


def no_tables() -> dict[str, pd.DataFrame]:
    """Every delivery table without rows: for a delivery that could not be opened."""
    from schemas.convert.to_arrow import empty_frame

    return {table.name: empty_frame(table) for table in tables_of(Layer.DELIVERY)}


def _read(payload_dir: Path, table: Table) -> tuple[bytes, pd.DataFrame | None, list[Problem]]:
    """The bytes of a table's file, and its cells as strings, the index being the line; None if it cannot be read."""
    name = str(table.file_name)
    path = payload_dir / name
    if not path.exists() and not path.is_symlink():
        missing = Problem("table", f"{name} is missing", f"a table with one row for {table.one_row_is}", name)
        return b"", None, [] if table.optional else [missing]
    data, problem = _bytes_of(path, name)
    text = None
    if problem is None:
        text, problem = _text_of(data, name)
    if text is None:
        return data, None, [problem] if problem else []
    return data, *_cells(text, name, table)


def text_of_table(path: Path, name: str) -> tuple[str | None, Problem | None]:
    """The text of a table's file without the mark of its encoding, or why there is none. Never raises."""
    data, problem = _bytes_of(path, name)
    return (None, problem) if problem else _text_of(data, name)


def _bytes_of(path: Path, name: str) -> tuple[bytes, Problem | None]:
    """The bytes of a file, no more than one above the limit; empty with the reason why it cannot be read."""
    if path.is_symlink() or not path.is_file():
        return b"", Problem("table", f"{name} is not a plain file", "a CSV file", name)
    try:
        with path.open("rb") as stream:
            return stream.read(MOST_BYTES + 1), None
    except OSError as error:
        return b"", Problem("table", f"{name} cannot be read ({error.strerror})", "a readable CSV file", name)


def _text_of(data: bytes, name: str) -> tuple[str | None, Problem | None]:
    if len(data) > MOST_BYTES:
        seen = f"{name} is larger than {MOST_BYTES >> 20} MiB"
        return None, Problem("table", seen, f"at most {MOST_BYTES >> 20} MiB", name)
    if what := not_a_csv(data):
        return None, Problem("table", f"{name} is {what}", EXPORT_AGAIN, name)
    try:
        return data.decode("utf-8-sig"), None
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        seen = f"{name} is not text in UTF-8: line {line} is the first with a letter written in another way"
        return None, Problem("table", seen, EXPORT_AGAIN, name, f"line {line}")


@dataclass
class _Sheet:
    """The cells of one table as its file holds them. header: without blank columns at its end.

    blank: lines of rows without any cell that is filled. ragged: line and count of cells; the cells of such rows are
    not kept, for there may be far too many. split: how many of them may hold a number cut at a decimal comma.
    """

    header: list[str] | None = None
    rows: list[list[str]] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    blank: list[int] = field(default_factory=list)
    ragged: list[tuple[int, int]] = field(default_factory=list)
    split: int = 0

    def add(self, record: CsvRecord) -> None:
        """Add one record after the header."""
        row = record.cells
        if record.role is Role.BLANK:
            if self.header is not None or any(cell.strip() for cell in row):  # blank rows above the header tell nothing
                self.blank.append(record.line)
        elif record.role is Role.RAGGED:
            self.ragged.append((record.line, len(row)))
            self.split += len(row) > len(self.header or ()) and is_split_number(row)
        elif record.role is Role.ROW:
            self.rows.append(row)
            self.lines.append(record.line)

    @property
    def count(self) -> int:
        return len(self.rows) + len(self.ragged) + len(self.blank)


def _cells(text: str, name: str, table: Table) -> tuple[pd.DataFrame | None, list[Problem]]:
    import pandas as pd

    from schemas.convert.to_pandera import LINE

    sheet, last = _Sheet(), 0
    try:
        for record in records(text):
            last = record.line
            if record.role is Role.HEADER:
                sheet.header = record.cells
                if problem := _header_problem(sheet.header, name):
                    return None, [problem]
            else:
                sheet.add(record)
            if sheet.count > MOST_ROWS:
                return None, [Problem("table", f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS} rows", name)]
    except csv.Error as error:
        if sheet.header is None and (words := quoted_separator(text)):
            seen = f"the columns of {name} are separated by {words}"
            return None, [Problem("table", seen, EXPORT_AGAIN, name, "line 1")]
        seen = f"{name} is not readable as CSV after line {last} ({error})"
        return None, [Problem("table", seen, "comma-separated cells, quotes closed", name)]
    if sheet.header is None:
        return None, [Problem("table", f"{name} is empty", "a header line with the column names", name)]
    if sign := _decimal_commas(sheet, table):
        return None, [Problem("table", f"{name} has decimal commas: {sign}", EXPORT_AGAIN, name)]
    index = pd.Index(sheet.lines, name=LINE, dtype="int64")
    frame = pd.DataFrame(sheet.rows, columns=sheet.header, index=index, dtype=object)
    told = [*_ragged(sheet.ragged, len(sheet.header), name), *_blank(sheet.blank, name)]
    return frame, [*told, *(_swallowed(frame, name) if table is SENT_CONSENTS else ())]


def _swallowed(frame: pd.DataFrame, name: str) -> Iterator[Problem]:
    """Rows with a line break in a cell: a quote that was not closed may have swallowed lines of other runners.

    Such a row loses all its cells, so that it counts against anybody it may be about.
    """
    for line, row in zip(frame.index.tolist(), frame.to_numpy(), strict=True):
        if any("\n" in cell for cell in row):
            frame.loc[line] = ""
            seen = "a cell holds a line break, so that lines of other runners may be inside it"
            expected = "one line for each event, and every quote closed"
            yield Problem("table", seen, expected, name, f"line {line}")


def _decimal_commas(sheet: _Sheet, table: Table) -> str | None:
    """How one sees that the whole table was exported with decimal commas; None if it was not."""
    if sheet.split and sheet.split >= max(1, sheet.count - len(sheet.blank)) / 2:
        return f"{sheet.split} of its rows have more cells than the header, for each cuts a number in two"
    if columns := decimal_commas(table, sheet.header or (), sheet.rows):
        return f"it has them in the numbers of {', '.join(columns)}"
    return None


def _blank(lines: list[int], name: str) -> Iterator[Problem]:
    if lines:
        rows = (
            "1 row without any filled cell was" if len(lines) == 1 else f"{len(lines)} rows without filled cells were"
        )
        seen = f"{rows} passed over"
        place = f"line {lines[0]}" if len(lines) == 1 else f"lines {lines[0]} to {lines[-1]}"
        yield Problem("blank", seen, "only rows that are filled", name, place)


def _header_problem(header: list[str], name: str) -> Problem | None:
    if words := other_separator(header):
        return Problem("table", f"the columns of {name} are separated by {words}", EXPORT_AGAIN, name, "line 1")
    if len(header) > MOST_COLUMNS:
        return Problem("table", f"{len(header)} columns", "the columns of the table's definition", name, "line 1")
    return None


def _ragged(ragged: list[tuple[int, int]], width: int, name: str) -> Iterator[Problem]:
    for line, count in ragged[:MOST_RAGGED_SHOWN]:
        seen = f"the row has {count} cells"
        expected = f"{width} cells as in the header; a comma inside a cell needs quotes round the cell"
        yield Problem("table", seen, expected, name, f"line {line}")
    if len(ragged) > MOST_RAGGED_SHOWN:
        seen = f"{len(ragged)} rows have more or fewer cells than the header"
        yield Problem("table", seen, f"{width} cells in every row", name)
