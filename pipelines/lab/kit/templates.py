"""The tables a laboratory fills in, from their definitions: as CSV, as a workbook, and explained column by column."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipelines.lab.kit.examples import example
from schemas.catalogue import tables_of
from schemas.convert.words import codes_sentence, range_words, unit_words
from schemas.model import Field, Layer, Table

if TYPE_CHECKING:
    from schemas.study import Study

EXPLAINED = ("table", "column", "must_be_filled_in", "what_it_is", "unit", "allowed", "example")
#: The sheet of a workbook that explains the others.
EXPLAINED_SHEET = "columns"
_TEXT = "@"  # how a spreadsheet calls a cell whose letters and digits stay as they were typed
_EMPTY_ROWS = 500


def delivery_tables() -> tuple[Table, ...]:
    """Every table a laboratory may send."""
    return tuple(tables_of(Layer.DELIVERY))


def template(table: Table, study: Study, site: str) -> str:
    """A CSV file: its columns and the example row."""
    return as_csv([table.column_names, list(example(table, study, site).values())])


def explained(study: Study, site: str) -> list[Sequence[str]]:
    """What each column of each table is, under a row of headings."""
    rows: list[Sequence[str]] = [EXPLAINED]
    for table in delivery_tables():
        row = example(table, study, site)
        for field in table.fields:
            needed = "no" if field.nullable else "yes"
            if field.may_be_left_out:
                needed = "no, the column may be left out"
            unit = unit_words(field.unit) or field.unit or ""
            allowed = _allowed(field, study)
            rows.append((str(table.file_name), field.name, needed, field.description, unit, allowed, row[field.name]))
    return rows


def _allowed(field: Field, study: Study) -> str:
    if field.study_list:
        return "One of: " + ", ".join(study.words(field.study_list)) + "."
    form = study.codes.form_of(field.name)
    return f"As the form {form} says." if form else codes_sentence(field) or range_words(field)


def as_csv(rows: Sequence[Sequence[str]]) -> str:
    """Rows as CSV with commas."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def workbook(study: Study, site: str) -> bytes:
    """A workbook with a sheet for each table and one that explains the columns.

    Every cell is text, so that codes such as 007 and numbers such as 3.0 are exported as they were typed, whatever
    language the spreadsheet is set to.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    book.remove(book.active)
    sheets = {str(t.file_name).removesuffix(".csv"): [t.column_names, list(example(t, study, site).values())]
              for t in delivery_tables()}  # fmt: skip
    for name, rows in {**sheets, EXPLAINED_SHEET: explained(study, site)}.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append([cell or None for cell in row])
        for number in range(1, len(rows[0]) + 1):
            for place in range(1, max(len(rows), _EMPTY_ROWS if name in sheets else 0) + 1):
                sheet.cell(place, number).number_format = _TEXT
            sheet.cell(1, number).font = Font(bold=True)
            sheet.column_dimensions[sheet.cell(1, number).column_letter].width = max(12, len(rows[0][number - 1]) + 2)
        sheet.freeze_panes = "A2"
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()
