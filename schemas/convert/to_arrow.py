"""Table definition to Arrow schema, and rows to Arrow tables. The only way rows become Parquet.

Casting is strict: what does not fit is refused, never bent. Bounds, words and keys are not looked at here; they are
the matter of ``to_pandera`` and of the checks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from schemas.convert.words import rows_sentence
from schemas.model import Field, Kind, Table

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

_STRINGS = (Kind.IDENTIFIER, Kind.CODE, Kind.TEXT)

#: pandas types of a typed frame: all can hold a missing value, so that a faulty cell can be null.
PANDAS_TYPES = {
    Kind.IDENTIFIER: "str",
    Kind.CODE: "str",
    Kind.TEXT: "str",
    Kind.INTEGER: "Int64",
    Kind.REAL: "float64",
    Kind.BOOLEAN: "boolean",
}


def arrow_type(kind: Kind) -> pa.DataType:
    """string, int64, float64 or bool."""
    import pyarrow as pa

    if kind in _STRINGS:
        return pa.string()
    return {Kind.INTEGER: pa.int64(), Kind.REAL: pa.float64(), Kind.BOOLEAN: pa.bool_()}[kind]


def arrow_schema(table: Table) -> pa.Schema:
    """The Arrow schema; description, unit, kind and privacy are field metadata, what its rows are table metadata."""
    import pyarrow as pa

    fields = []
    for field in table.fields:
        words = {"description": field.description, "kind": str(field.kind), "privacy": str(field.privacy)}
        if field.unit:
            words["unit"] = field.unit
        fields.append(pa.field(field.name, arrow_type(field.kind), nullable=field.nullable, metadata=words))
    about = {
        "table": table.name,
        "layer": str(table.layer),
        "one_row_is": table.one_row_is,
        "key": ",".join(table.key),
        "rows": rows_sentence(table.rows),
    }
    return pa.schema(fields, metadata=about)


def to_arrow_table(table: Table, rows: pd.DataFrame | Iterable[Mapping[str, Any]]) -> pa.Table:
    """``rows`` (a data frame or dictionaries) as an Arrow table in definition order.

    NaN and None are null. Raises ValueError, naming table and column, for a missing or unknown column, a value of
    another type, a fraction in a whole-number column, or a null where the definition allows none.
    """
    import pyarrow as pa

    columns = _columns(table, rows)
    schema = arrow_schema(table)
    arrays = [_array(table, field, columns[field.name]) for field in table.fields]
    return pa.Table.from_arrays(arrays, schema=schema)


def empty_frame(table: Table) -> pd.DataFrame:
    """A data frame with the table's columns, typed, and no rows; the caller's own."""
    return _empty(tuple((f.name, PANDAS_TYPES[f.kind]) for f in table.fields)).copy()


@cache
def _empty(types: tuple[tuple[str, str], ...]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in types})


def _columns(table: Table, rows: pd.DataFrame | Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Column name to values, once it is sure that the names are exactly those of the definition."""
    import pandas as pd

    expected = set(table.column_names)
    if isinstance(rows, pd.DataFrame):
        if len(set(rows.columns)) != len(rows.columns):
            raise ValueError(f"table {table.name}: a column name stands twice in the data")
        _refuse_other_names(table, set(rows.columns), "")
        return {name: rows[name] for name in table.column_names}
    listed: Sequence[Mapping[str, Any]] = list(rows)
    for position, row in enumerate(listed):
        if row.keys() != expected:
            _refuse_other_names(table, set(row), f"row {position}: ")
    return {name: [row[name] for row in listed] for name in table.column_names}


def _refuse_other_names(table: Table, names: set[Any], where: str) -> None:
    missing = [name for name in table.column_names if name not in names]
    unknown = sorted(str(name) for name in names - set(table.column_names))
    faults = [f"missing column{'s' * (len(missing) > 1)} {', '.join(missing)}"] if missing else []
    faults += [f"unknown column{'s' * (len(unknown) > 1)} {', '.join(unknown)}"] if unknown else []
    if faults:
        raise ValueError(f"table {table.name}: {where}{' and '.join(faults)}")


def _array(table: Table, field: Field, values: Any) -> pa.Array:
    import pyarrow as pa

    target = arrow_type(field.kind)
    try:
        array = pa.array(values, from_pandas=True)
        if isinstance(array, pa.ChunkedArray):
            array = array.combine_chunks()
        # let Arrow infer first: asked for int64 it would silently take True as 1
        if array.null_count == len(array):
            array = pa.nulls(len(array), target)
        elif not _fits(array.type, field.kind):
            raise pa.ArrowTypeError(f"the values are {array.type}")
        else:
            array = array.cast(target, safe=True)
    except (pa.ArrowInvalid, pa.ArrowTypeError, pa.ArrowNotImplementedError) as error:
        raise ValueError(
            f"table {table.name}, column {field.name}: expected {field.kind} values ({target}); {error}"
        ) from None
    if array.null_count and not field.nullable:
        first = array.is_null().to_pylist().index(True)
        raise ValueError(
            f"table {table.name}, column {field.name}: {array.null_count} of {len(array)} values are null, "
            f"first in row {first}; the definition allows none"
        )
    return array


def _fits(found: pa.DataType, kind: Kind) -> bool:
    """Whether values Arrow takes for ``found`` may stand in a column of ``kind`` (if the cast then loses nothing)."""
    import pyarrow.types as t

    if t.is_dictionary(found):
        found = found.value_type
    if kind in _STRINGS:
        return bool(t.is_string(found) or t.is_large_string(found))
    if kind is Kind.BOOLEAN:
        return bool(t.is_boolean(found))
    return bool(t.is_integer(found) or t.is_floating(found))
