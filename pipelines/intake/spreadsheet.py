"""What spreadsheet programs save instead of the CSV that is wanted, and the one sentence that says how to export it.

Everything here is told in one sentence per table: a lab that sees thirty messages about thirty cells mends thirty
cells, not the export. First bytes of files are from memory of their formats.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from schemas.model import Kind, Table

#: The ``expected`` of every problem of this kind.
EXPORT_AGAIN = (
    "the table exported again from the spreadsheet as 'CSV UTF-8 (comma delimited)', with commas between columns and "
    "points in numbers"
)
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_WHOLE_NUMBER = re.compile(r"[+-]?[0-9]+")
_QUOTED = re.compile(r'\s*"[^"\n]*"[ ]*([;\t|])')
_SEPARATOR_LINE = re.compile(r"\s*sep=(.)\s*", re.IGNORECASE)
#: From so many numbers on a decimal comma is a habit of the export, not a slip in one cell.
_FROM_NUMBERS = 2


def not_a_csv(data: bytes) -> str | None:
    """What the bytes are if they are no CSV in UTF-8, as the end of "the file is ..."; None if they may be."""
    if data.startswith(b"PK\x03\x04"):
        return "a workbook (such as .xlsx or .ods) under the name of a CSV file"
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        return "an old workbook (.xls) under the name of a CSV file"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "text in UTF-16 (often called Unicode text)"
    if (
        data.removeprefix(b"\xef\xbb\xbf")
        .lstrip()[:16]
        .lower()
        .startswith((b"<!doctype", b"<html", b"<table", b"<?xml"))
    ):
        return "a web page (or other marked-up text) under the name of a CSV file"
    if b"\0" in data[:4096]:
        return "no text, or text in UTF-16"
    return None


def other_separator(header: Sequence[str]) -> str | None:
    """What separates the columns if it is no comma, as "semicolons"; ``header``: cells of the first line."""
    if header and (said := _SEPARATOR_LINE.fullmatch(header[0])):
        return f"{_SEPARATORS.get(said[1], 'another mark than commas')}, as its first line, {header[0]!r}, says"
    return next((words for mark, words in _SEPARATORS.items() if len(header) == 1 and mark in header[0]), None)


def quoted_separator(text: str) -> str | None:
    """What separates columns whose names are all in quotes, if it is no comma, so that the lines are no CSV at all."""
    quoted = _QUOTED.match(text)
    return _SEPARATORS[quoted[1]] if quoted else None


def says_comma(row: Sequence[str]) -> bool:
    """Whether the first line is no header but tells a spreadsheet that columns are separated by commas, as they are."""
    return bool(row) and row[0].strip().lower() == "sep=" and not any(cell.strip() for cell in row[1:])


def is_split_number(row: Sequence[str]) -> bool:
    """Whether two cells side by side could be one number with a decimal comma."""
    whole = [bool(_WHOLE_NUMBER.fullmatch(cell.strip())) for cell in row]
    return any(a and b for a, b in pairwise(whole))


def decimal_commas(table: Table, header: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Columns whose numbers all have a decimal comma, if that is how the whole table was exported; else none."""
    found: dict[str, int] = {}
    for field in table.fields:
        if field.kind is not Kind.REAL or field.name not in header:
            continue
        at = list(header).index(field.name)
        cells = [row[at].strip() for row in rows]
        if any("." in cell for cell in cells):
            return []
        if count := sum(bool(_DECIMAL_COMMA.fullmatch(cell)) for cell in cells):
            found[field.name] = count
    return list(found) if sum(found.values()) >= _FROM_NUMBERS else []
