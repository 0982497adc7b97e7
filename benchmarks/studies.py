"""Studies of many trials, made from a small one: what nothing new, one new delivery and a question cost.

A delivery's result is copied with other ids, nothing is judged; footfalls are repeated within their trials, as in a
long recording on a treadmill. What is measured is the pool: warehouse, analyses, pages. Times of one machine say
little, so that the questions are compared with the same questions to CSV files in the same run.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from schemas.catalogue import TABLES
from schemas.model import Kind, Table

#: Id columns whose words are not ids of a study's own things.
_NOT_OWN = {"code_version", "study_version"}
#: A step between the footfall numbers of two repetitions that no trial of the demo reaches.
_STEP = 100


def copied_tables(delivery: Path, copy: int, repetitions: int) -> Iterator[tuple[Table, Any]]:
    """The Arrow tables of one delivery's result under the ids of that copy, footfalls repeated within their trials."""
    import pyarrow.parquet as parquet

    for path in sorted(delivery.glob("*.parquet")):
        table, rows = TABLES[path.stem], parquet.read_table(path)
        if "footfall_number" in table.key:
            rows = _repeated(rows, repetitions)
        yield table, _renamed(table, rows, copy)


def _renamed(table: Table, rows: Any, copy: int) -> Any:
    import pyarrow as pa
    from pyarrow import compute

    for place, field in enumerate(table.fields):
        if field.name not in rows.column_names:
            continue
        at = rows.column_names.index(field.name)
        column = rows.column(at)
        if field.name == "delivery_number":
            rows = rows.set_column(at, rows.schema.field(at), compute.add(column, 1000 * copy))
        elif (field.kind is Kind.IDENTIFIER and field.name.endswith("_id")) or field.name == "subject":
            words = compute.binary_join_element_wise(column.cast(pa.string()), f"c{copy}", "-")
            rows = rows.set_column(at, rows.schema.field(at), words.cast(rows.schema.field(at).type))
        assert place >= 0
    return rows


def _repeated(rows: Any, repetitions: int) -> Any:
    import pyarrow as pa
    from pyarrow import compute

    at = rows.column_names.index("footfall_number")
    parts = [
        rows.set_column(at, rows.schema.field(at), compute.add(rows.column(at), _STEP * n)) for n in range(repetitions)
    ]
    return pa.concat_tables(parts)
