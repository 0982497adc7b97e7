"""Rows to a typed data frame of one outcome table, less what is only known where the row is stored."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from schemas import fields as f
from schemas.convert.to_arrow import PANDAS_TYPES
from schemas.model import Field, Table

if TYPE_CHECKING:
    import pandas as pd


def computed_fields(table: Table) -> tuple[Field, ...]:
    """The table's fields less provenance (delivery, checksum, versions), in definition order."""
    return tuple(field for field in table.fields if field not in f.PROVENANCE)


def frame_of(table: Table, rows: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """One row per mapping, typed, with the columns of ``computed_fields``; None is null. KeyError if one is missing."""
    import pandas as pd

    listed = list(rows)
    return pd.DataFrame(
        {
            field.name: pd.Series([row[field.name] for row in listed], dtype=PANDAS_TYPES[field.kind])
            for field in computed_fields(table)
        }
    )


def typed_frame(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    """The columns of ``computed_fields`` out of ``frame``, typed, and no others. KeyError if one is missing."""
    return frame[[f.name for f in computed_fields(table)]].astype(
        {field.name: PANDAS_TYPES[field.kind] for field in computed_fields(table)}
    )
