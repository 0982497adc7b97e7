"""Rows of one outcome table as columns, and as a typed data frame; less what is only known where a row is stored.

One trial's rows stay columns of plain values: a data frame costs more than most of what is in it, so there is one for
each table of a delivery and none for each trial.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from schemas import fields as f
from schemas.convert.to_arrow import PANDAS_TYPES
from schemas.model import Field, Kind, Table
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

Column = Sequence[Any] | FloatArray
_COMPUTED: dict[int, tuple[Table, tuple[Field, ...]]] = {}  # by id; the table is kept with it, so no other can have it


def computed_fields(table: Table) -> tuple[Field, ...]:
    """The table's fields less provenance (delivery, checksum, versions), in definition order."""
    if id(table) not in _COMPUTED:
        _COMPUTED[id(table)] = table, tuple(field for field in table.fields if field not in f.PROVENANCE)
    return _COMPUTED[id(table)][1]


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of one table by column, in definition order.

    columns: name -> n values; of a real column a float array (n,) with NaN for null, of any other a list with None.
    """

    table: Table
    columns: Mapping[str, Column]

    @classmethod
    def of(cls, table: Table, rows: Iterable[Mapping[str, Any]]) -> Rows:
        """One row per mapping; None is null. KeyError if a column of ``computed_fields`` is missing."""
        listed = list(rows)
        return cls.of_columns(
            table, {field.name: [row[field.name] for row in listed] for field in computed_fields(table)}
        )

    @classmethod
    def of_columns(cls, table: Table, columns: Mapping[str, Column]) -> Rows:
        """The same from columns of equal length. KeyError if one is missing."""
        return cls(table, {field.name: _column(field, columns[field.name]) for field in computed_fields(table)})

    @classmethod
    def of_parts(cls, table: Table, parts: Sequence[Mapping[str, Column]]) -> Rows:
        """The same from columns that come in parts, one after the other; no rows without a part."""
        names = [field.name for field in computed_fields(table)]
        return cls.of_columns(table, {name: [v for part in parts for v in part[name]] for name in names})

    @classmethod
    def of_frame(cls, table: Table, frame: pd.DataFrame) -> Rows:
        """Rows that were a data frame; columns it lacks are null throughout."""
        blank = [None] * len(frame)
        columns = {
            field.name: frame[field.name].astype(object).where(frame[field.name].notna(), None).tolist()
            if field.name in frame
            else blank
            for field in computed_fields(table)
        }
        return cls.of_columns(table, columns)

    @classmethod
    def joined(cls, parts: Sequence[Rows]) -> Rows:
        """The rows of several parts of one table, one after the other. ValueError without a part."""
        if not parts:
            raise ValueError("there are no rows to join, so nobody knows of which table")
        table = parts[0].table
        return cls.of_parts(table, [part.columns for part in parts])

    def __len__(self) -> int:
        return len(next(iter(self.columns.values()), ()))

    def first(self, count: int) -> Rows:
        """The first rows alone."""
        return Rows(self.table, {name: column[:count] for name, column in self.columns.items()})

    def numbers(self, name: str) -> FloatArray:
        """(n,) one column as numbers, NaN where null."""
        return np.asarray(self.columns[name], float)

    @cached_property
    def records(self) -> tuple[Mapping[str, Any], ...]:
        """Each row as a mapping of plain values; a null number is NaN in a real column, every other null is None."""
        plain = [column.tolist() if isinstance(column, np.ndarray) else column for column in self.columns.values()]
        return tuple(dict(zip(self.columns, values, strict=True)) for values in zip(*plain, strict=True))

    def frame(self) -> pd.DataFrame:
        """A typed data frame, made anew at each call."""
        import pandas as pd

        types = {field.name: PANDAS_TYPES[field.kind] for field in computed_fields(self.table)}
        return pd.DataFrame({name: pd.Series(column, dtype=types[name]) for name, column in self.columns.items()})


def frame_of(table: Table, rows: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """One row per mapping, typed, with the columns of ``computed_fields``; None is null. KeyError if one is missing."""
    return Rows.of(table, rows).frame()


def typed_frame(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    """The columns of ``computed_fields`` out of ``frame``, typed, and no others. KeyError if one is missing."""
    return frame[[f.name for f in computed_fields(table)]].astype(
        {field.name: PANDAS_TYPES[field.kind] for field in computed_fields(table)}
    )


def _column(field: Field, values: Column) -> Column:
    if field.kind is Kind.REAL:
        return np.asarray(values, float)  # None becomes NaN
    return values if isinstance(values, list) else list(values)
