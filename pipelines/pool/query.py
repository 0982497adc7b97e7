"""One SQL question to the warehouse, read-only and shut off from files and network; as a table or as a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.errors import Unusable
from pipelines.telemetry import DUCKDB_CONFIG

if TYPE_CHECKING:
    import duckdb
    import pyarrow as pa

SHOWN_ROWS = 50
#: An answer of more columns than this and few rows is shown turned, a line per column: else no screen is wide enough.
_MOST_COLUMNS, _FEW_ROWS = 12, 8
_SUFFIXES = (".csv", ".parquet")
#: After spaces and characters without a picture; the last four are the same signs in full width.
_FORMULA = "^[\\s\\p{Z}\\p{C}]*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]"
_PLAIN_NUMBER = r"^[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?$"


def ask(warehouse: Path, sql: str) -> pa.Table:
    """The answer to ``sql``. Raises Unusable if there is no warehouse or the SQL does not work."""
    import duckdb

    with open_read_only(warehouse) as connection:
        try:
            answer = connection.sql(sql)
            return answer.to_arrow_table() if answer is not None else _no_columns()
        except (duckdb.IOException, duckdb.FatalException, duckdb.SerializationException) as error:
            raise _damaged(warehouse, error) from None
        except duckdb.Error as error:
            raise Unusable(
                str(error).strip() + "\n",  # ends with a mark under the faulty word
                "a question in DuckDB's SQL to the tables and views of the warehouse.",
                'See what there is: manystrides sql "SELECT table_name, comment FROM duckdb_tables() '
                "WHERE schema_name = 'main' "
                'UNION ALL SELECT view_name, comment FROM duckdb_views() WHERE NOT internal".',
                file=warehouse,
            ) from None


def open_read_only(warehouse: Path) -> duckdb.DuckDBPyConnection:
    """A connection that can change nothing and reach nothing outside the file; the settings cannot be undone."""
    import duckdb

    if not warehouse.exists():
        raise Unusable(
            "There is no warehouse here.",
            "a depot in which deliveries were taken in.",
            "Run `manystrides run` first, or name the depot with --depot.",
            file=warehouse,
        )
    if not _is_duckdb(warehouse):
        raise Unusable(
            "It is no warehouse: it does not begin as a DuckDB file does.",
            "the warehouse.duckdb of a depot, or of a release.",
            "Name that file. If a depot's own warehouse.duckdb was damaged, `manystrides run --rebuild` makes it anew.",
            file=warehouse,
        )
    locked = {
        "enable_external_access": "false",
        "python_enable_replacements": "false",
        "lock_configuration": "true",
    }
    try:
        return duckdb.connect(str(warehouse), read_only=True, config={**DUCKDB_CONFIG, **locked})
    except duckdb.Error as error:
        raise _damaged(warehouse, error) from None


def _is_duckdb(path: Path) -> bool:
    """Whether a file has the mark of DuckDB, behind the checksum of its first page."""
    from pipelines.depot.store import Store

    if not path.is_file():
        return False
    with Store.on_disk(path.parent).open(path.name) as file:
        return file.read(12)[8:] == b"DUCK"


def _damaged(warehouse: Path, error: Exception) -> Unusable:
    return Unusable(
        f"The warehouse cannot be read: {error}",
        "a whole warehouse of this version of DuckDB.",
        "Run `manystrides run --rebuild`; it is built anew from the depot.",
        file=warehouse,
    )


def write_answer(answer: pa.Table, path: Path) -> None:
    """Write the answer as CSV or Parquet, by the file's ending, in one step; nothing of it for everybody.

    Raises Unusable for another ending, for what is there already, and inside a depot, where every file has a meaning.
    """
    import io

    from pipelines.depot.disk import write_bytes
    from pipelines.depot.modes import nothing_for_everybody
    from pipelines.depot.new_files import refuse_place

    if path.suffix.lower() not in _SUFFIXES:
        raise Unusable(
            f"The ending {path.suffix or '(none)'} is not known.",
            "a file name ending in .csv or .parquet.",
            "Change the ending.",
            file=path,
        )
    place = refuse_place(path)
    buffer = io.BytesIO()
    if path.suffix.lower() == ".csv":
        from pyarrow import csv

        csv.write_csv(without_formulas(answer), buffer)
    else:
        from pyarrow import parquet

        parquet.write_table(answer, buffer)
    with nothing_for_everybody():
        write_bytes(place, buffer.getvalue())


def without_formulas(answer: pa.Table) -> pa.Table:
    """The answer with an apostrophe before every text, and column name, that a spreadsheet would take for a formula.

    Such a text begins with = + - @, a tab or a line break, also after spaces (list of the OWASP page on CSV injection).
    Columns of numbers, and texts that are plain numbers such as -3.5, stay as they are.
    """
    import pyarrow as pa
    from pyarrow import types

    columns = []
    for column in answer.columns:
        if types.is_dictionary(column.type):
            column = column.cast(column.type.value_type)
        is_text = types.is_string(column.type) or types.is_large_string(column.type)
        columns.append(_with_apostrophes(column) if is_text else column)
    return pa.table(columns, names=_with_apostrophes(pa.array(answer.column_names, pa.string())).to_pylist())


def _with_apostrophes(texts: Any) -> Any:
    import pyarrow as pa
    from pyarrow import compute

    formula = compute.match_substring_regex(texts, _FORMULA)
    number = compute.match_substring_regex(texts, _PLAIN_NUMBER)
    marked = compute.binary_join_element_wise(pa.scalar("'", texts.type), texts, pa.scalar("", texts.type))
    return compute.if_else(compute.and_not(formula, number), marked, texts)


def print_answer(answer: pa.Table, shown_rows: int = SHOWN_ROWS) -> None:
    """Print the answer as a table of at most ``shown_rows`` rows, and say so when there are more."""
    import sys

    from pyarrow import types
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    # not a terminal: no width to keep to, so that nothing is cut in a file or a pipe
    console = Console(width=None if sys.stdout.isatty() else 10_000)
    shown = answer.slice(0, shown_rows)
    columns = [column.to_pylist() for column in shown.columns]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    if answer.num_columns > _MOST_COLUMNS and answer.num_rows <= _FEW_ROWS:
        table.add_column("column")
        for number in range(1, answer.num_rows + 1):
            table.add_column(f"row {number}", overflow="fold")
        for name, values in zip(answer.column_names, columns, strict=True):
            table.add_row(Text(name), *(Text(_cell(value)) for value in values))
    else:
        for field in answer.schema:
            numeric = types.is_integer(field.type) or types.is_floating(field.type)
            table.add_column(Text(field.name), justify="right" if numeric else "left", overflow="fold")
        for row in zip(*columns, strict=True):  # by position: two columns may have the same name
            table.add_row(*(Text(_cell(value)) for value in row))
    console.print(table)
    total = answer.num_rows
    if total > shown_rows:
        console.print(f"{shown_rows} of {total} rows shown; all with --to FILE.csv, or --rows {total}.")
    else:
        console.print(f"{total} row{'' if total == 1 else 's'}.")


def _cell(value: Any) -> str:
    if value is None:
        return "–"
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _no_columns() -> pa.Table:
    import pyarrow as pa

    return pa.table({})
