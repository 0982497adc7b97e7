"""Reads the CSV tables of a payload as strings and gives each its shape. What the rows mean is a matter for checks."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from schemas.catalogue import tables_of
from schemas.model import Layer, Table
from schemas.received import Problem

if TYPE_CHECKING:
    import pandas as pd

MOST_BYTES = 64 << 20
MOST_ROWS = 500_000
MOST_RAGGED_SHOWN = 20
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}


def read_tables(payload_dir: Path) -> tuple[dict[str, pd.DataFrame], list[Problem]]:
    """Every delivery table, typed, with the columns of its definition; and what could not be taken as it was.

    A table that is missing or cannot be read is an empty frame. Problems are of the kinds "table" (file or rows),
    "column", "cell" and "key". Never raises on what a lab wrote.
    """
    from schemas.convert.to_arrow import empty_frame
    from schemas.convert.to_pandera import shape_problems

    tables: dict[str, pd.DataFrame] = {}
    problems: list[Problem] = []
    for table in tables_of(Layer.DELIVERY):
        frame, own = _read(payload_dir, table)
        problems += own
        if frame is None:
            tables[table.name] = empty_frame(table)
        else:
            tables[table.name], shape = shape_problems(table, frame, str(table.file_name))
            problems += shape
    return tables, problems


def no_tables() -> dict[str, pd.DataFrame]:
    """Every delivery table without rows: for a delivery that could not be opened."""
    from schemas.convert.to_arrow import empty_frame

    return {table.name: empty_frame(table) for table in tables_of(Layer.DELIVERY)}


def _read(payload_dir: Path, table: Table) -> tuple[pd.DataFrame | None, list[Problem]]:
    """The cells of a table's file as strings, the index being the line; None if there is no readable file."""
    name = str(table.file_name)
    path = payload_dir / name
    if path.is_symlink() or (path.exists() and not path.is_file()):
        return None, [Problem("table", f"{name} is not a plain file", "a CSV file", name)]
    if not path.exists():
        missing = Problem("table", f"{name} is missing", f"a table with one row for {table.one_row_is}", name)
        return None, [] if table.optional else [missing]
    text, problem = _text(path, name)
    if text is None:
        return None, [problem] if problem else []
    return _cells(text, name, table)


def _text(path: Path, name: str) -> tuple[str | None, Problem | None]:
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except OSError as error:
        return None, Problem("table", f"{name} cannot be read ({error.strerror})", "a readable CSV file", name)
    if len(data) > MOST_BYTES:
        seen = f"{name} is larger than {MOST_BYTES >> 20} MiB"
        return None, Problem("table", seen, f"at most {MOST_BYTES >> 20} MiB", name)
    try:
        return data.decode("utf-8-sig"), None
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        seen = f"the text is not UTF-8: byte {data[error.start]:#04x} stands on line {line}"
        expected = "a CSV file saved as UTF-8"
        return None, Problem("table", seen, expected, name, f"line {line}")


def _cells(text: str, name: str, table: Table) -> tuple[pd.DataFrame | None, list[Problem]]:
    import pandas as pd

    from schemas.convert.to_pandera import LINE

    rows, lines = [], []
    try:
        for line, row in islice(_rows(text), MOST_ROWS + 2):
            rows.append(row)
            lines.append(line)
    except csv.Error as error:
        seen = f"{name} is not readable as CSV after line {lines[-1] if lines else 0} ({error})"
        return None, [Problem("table", seen, "comma-separated cells, quotes closed", name)]
    if not rows:
        return None, [Problem("table", f"{name} is empty", "a header line with the column names", name)]
    header = [cell.strip() for cell in rows[0]]
    if problem := _header_problem(header, name):
        return None, [problem]
    if len(rows) > MOST_ROWS + 1:
        return None, [Problem("table", f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS} rows", name)]
    body = list(zip(lines[1:], rows[1:], strict=True))
    problems = list(_ragged(body, len(header), name))
    whole = [(line, row) for line, row in body if len(row) == len(header)]
    index = pd.Index([line for line, _ in whole], name=LINE, dtype="int64")
    return pd.DataFrame([row for _, row in whole], columns=header, index=index, dtype=object), problems


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Rows with the line each begins on; lines without any cell are passed over."""
    # splitlines() would also break at form feeds and the like, which are not line ends in CSV
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    reader = csv.reader((f"{line}\n" for line in lines), strict=True)
    begins = 1
    for row in reader:
        if row:
            yield begins, row
        begins = reader.line_num + 1


def _header_problem(header: list[str], name: str) -> Problem | None:
    for separator, words in _SEPARATORS.items():
        if len(header) == 1 and separator in header[0]:
            seen = f"the columns are separated by {words}"
            return Problem("table", seen, "columns separated by commas, numbers with a decimal point", name, "line 1")
    return None


def _ragged(body: list[tuple[int, list[str]]], width: int, name: str) -> Iterator[Problem]:
    ragged = [(line, len(row)) for line, row in body if len(row) != width]
    for line, count in ragged[:MOST_RAGGED_SHOWN]:
        seen = f"the row has {count} cells"
        expected = f"{width} cells as in the header; a comma inside a cell needs quotes round the cell"
        yield Problem("table", seen, expected, name, f"line {line}")
    if len(ragged) > MOST_RAGGED_SHOWN:
        seen = f"{len(ragged)} rows have more or fewer cells than the header"
        yield Problem("table", seen, f"{width} cells in every row", name)
