"""Table definition to a pandera schema, and the one adapter from pandera's failures to our problems.

Pandera checks the shape of one table: names, nulls, bounds, words, keys. What must be true between tables or over
time is the matter of ``checks``. Pandera's habits (a key reported once per key column, a column name standing for the
table's, an uncoercible cell reported as Python's TypeError) end in this module.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TYPE_CHECKING, Any

from schemas.convert import cells
from schemas.convert.to_arrow import PANDAS_TYPES, empty_frame
from schemas.convert.to_frictionless import IDENTIFIER_PATTERN
from schemas.convert.words import expectation
from schemas.model import Field, Kind, Table
from schemas.received import Problem
from schemas.said import said

if TYPE_CHECKING:
    import pandas as pd
    import pandera.pandas as pa

_IDS = ("participant_id", "session_id", "trial_id")
#: Name of the index of a frame whose index is the line of each row in its file.
LINE = "line"
#: Beyond this a table is not a table with faults but the wrong table; it is then refused as a whole.
MOST_FAULTS = 1000


def pandera_schema(table: Table, *, ordered: bool = False, keyed: bool = True) -> pa.DataFrameSchema:
    """The strict schema: exactly these columns (in this order if ``ordered``), nulls, bounds, words and key."""
    import pandera.pandas as pa

    return pa.DataFrameSchema(
        {f.name: _column(f) for f in table.fields},
        name=table.name,
        description=f"One row is {table.one_row_is}.",
        strict=True,
        ordered=ordered,
        coerce=True,
        unique=list(table.key) if keyed else None,
        report_duplicates="exclude_first",
    )


def shape_problems(table: Table, frame: pd.DataFrame, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    """A frame of strings as a typed frame, and what did not fit.

    ``frame`` holds cells as strings, "" for an empty one. If its index is named ``line``, it is the line of each row
    in ``file``; else the first row stands on line 2. A cell that does not fit becomes null and a problem of kind
    "cell"; a missing or unknown column is a problem of kind "column"; a row whose key stood before is one of kind
    "key". Cells of a missing column are null without a problem of their own. The typed frame has exactly the columns
    of the definition, all rows, and a plain index from 0.
    """
    lines = _lines(frame)
    typed = empty_frame(table).reindex(range(len(frame)))
    bad: dict[tuple[int, str], str] = {}
    for field in table.fields:
        if field.name in frame.columns:
            typed[field.name], failed = _typed(field, _cells(frame, field.name))
            bad |= {(row, field.name): as_seen for row, as_seen in failed.items()}
    bad = _cells_pandera_refuses(table, typed, frame) | bad
    for name in {name for _, name in bad}:
        typed.loc[[row for row, other in bad if other == name], name] = None
    problems = list(_column_problems(table, frame, file))
    problems += _capped(_cell_problems(table, typed, bad, file, lines), len(bad), "cells", file)
    repeated = _repeated_keys(table, typed)
    problems += _capped(_key_problems(table, typed, repeated, file, lines), len(repeated), "keys", file)
    return typed, problems


def _column(field: Field) -> pa.Column:
    import pandera.pandas as pa

    checks = []
    if field.low is not None:
        checks.append(pa.Check.ge(field.low))
    if field.high is not None:
        checks.append(pa.Check.le(field.high))
    if field.codes:
        checks.append(pa.Check.isin([code.value for code in field.codes]))
    if field.kind is Kind.IDENTIFIER:
        checks.append(pa.Check.str_matches(rf"^(?:{IDENTIFIER_PATTERN})\Z"))
    return pa.Column(
        PANDAS_TYPES[field.kind],
        checks=checks,
        nullable=field.nullable,
        description=field.description,
        metadata={"unit": field.unit} if field.unit else None,
    )


def _lines(frame: pd.DataFrame) -> list[int]:
    if frame.index.name == LINE:
        return [int(line) for line in frame.index]
    return list(range(2, len(frame) + 2))


def _cells(frame: pd.DataFrame, name: str) -> list[str]:
    """The cells of a column without the spaces around them; of the first one, where a name stands twice."""
    column = frame.iloc[:, list(frame.columns).index(name)]
    return [cell.strip() if isinstance(cell, str) else "" for cell in column.tolist()]


def _column_problems(table: Table, frame: pd.DataFrame, file: str) -> Iterator[Problem]:
    names = [str(name) for name in frame.columns]
    expected = "exactly the columns " + ", ".join(table.column_names)
    for name in table.column_names:
        if name not in names and not table.column(name).may_be_left_out:
            yield Problem("column", f"column {name} is missing", expected, file, "line 1")
    for name in dict.fromkeys(names):
        if name not in table.column_names:
            place = f"line 1, column {names.index(name) + 1}"
            yield Problem("column", f"a column {_unknown(name)}", expected, file, place)
        elif names.count(name) > 1:
            seen = f"column {name} stands {names.count(name)} times"
            yield Problem("column", seen, f"column {name} once", file, "line 1")


def _unknown(name: str) -> str:
    if not name.strip():
        return "without a name"
    return f"called {said(name)}, which the table does not have"


def _typed(field: Field, column: Iterable[str]) -> tuple[pd.Series, dict[int, str]]:
    """The column as a typed series, and the rows whose cell could not be read, with what was seen there."""
    import pandas as pd

    values: list[Any] = []
    failed: dict[int, str] = {}
    for row, cell in enumerate(column):
        try:
            values.append(cells.parse(field, cell) if cell else None)
        except cells.NotOfKind:
            values.append(None)
            failed[row] = cells.seen(field, cell)
    return pd.Series(values, dtype=PANDAS_TYPES[field.kind]), failed


def _cells_pandera_refuses(table: Table, typed: pd.DataFrame, frame: pd.DataFrame) -> dict[tuple[int, str], str]:
    """Cells out of bounds, not in the list of words, or empty where they may not be: (row, column) -> what is there."""
    import pandera.pandas as pa

    try:
        pandera_schema(table, keyed=False).validate(typed, lazy=True)
    except pa.errors.SchemaErrors as errors:
        cases = errors.failure_cases
    else:
        return {}
    refused: dict[tuple[int, str], str] = {}
    for name in cases["column"].unique():
        if name in frame.columns:
            as_sent, field = _cells(frame, name), table.column(name)
            for row in cases.loc[cases["column"] == name, "index"].astype(int):
                refused[row, name] = cells.seen(field, as_sent[row]) if as_sent[row] else "nothing"
    return refused


def _repeated_keys(table: Table, typed: pd.DataFrame) -> list[int]:
    """Rows whose key stood before. A key with an unread part is no key: such rows would all look alike."""
    import pandera.pandas as pa

    key = list(table.key)
    whole = typed.loc[typed[key].notna().all(axis=1), key]
    schema = pa.DataFrameSchema(unique=key, report_duplicates="exclude_first")
    try:
        schema.validate(whole, lazy=True)
    except pa.errors.SchemaErrors as errors:
        return sorted({int(row) for row in errors.failure_cases["index"]})
    return []


def _capped(problems: Iterator[Problem], count: int, what: str, file: str) -> Iterator[Problem]:
    yield from islice(problems, MOST_FAULTS)
    if count > MOST_FAULTS:
        seen = f"{count} {what} do not fit, of which the first {MOST_FAULTS} are listed"
        yield Problem("table", seen, f"at most {MOST_FAULTS} {what} that do not fit", file)


def _cell_problems(
    table: Table, typed: pd.DataFrame, bad: dict[tuple[int, str], str], file: str, lines: list[int]
) -> Iterator[Problem]:
    order = {name: position for position, name in enumerate(table.column_names)}
    for row, name in sorted(bad, key=lambda place: (place[0], order[place[1]])):
        field, place = table.column(name), f"line {lines[row]}, column {name}"
        seen = f"{name} holds {bad[row, name]}"
        yield Problem("cell", seen, expectation(field), file, place, **_ids(typed, row), row=row)


def _key_problems(
    table: Table, typed: pd.DataFrame, repeated: list[int], file: str, lines: list[int]
) -> Iterator[Problem]:
    if not repeated:
        return
    key = list(table.key)
    first: dict[tuple[Any, ...], int] = {}
    for row, values in enumerate(typed[key].itertuples(index=False, name=None)):
        first.setdefault(values, row)
    expected = f"one row for each {' and '.join(key)}"
    for row in repeated:
        values = tuple(typed.loc[row, key])
        shown = ", ".join(
            f"{name} {'(a text)' if table.column(name).kind is Kind.TEXT else str(value)}"
            for name, value in zip(key, values, strict=True)
        )
        seen = f"{shown} stands here and on line {lines[first[values]]}"
        yield Problem("key", seen, expected, file, f"line {lines[row]}", **_ids(typed, row), row=row)


def _ids(typed: pd.DataFrame, row: int) -> dict[str, str]:
    """The runner, session and trial a row names, as far as they could be read."""
    values = {name: typed.at[row, name] for name in _IDS if name in typed.columns}
    return {name: value for name, value in values.items() if isinstance(value, str)}
