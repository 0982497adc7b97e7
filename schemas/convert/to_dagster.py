"""Table definition to Dagster's column schema, shown beside an asset. The only module here that knows Dagster."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schemas.convert.to_duckdb import COLUMN_TYPES
from schemas.convert.words import column_comment, range_words
from schemas.model import Field, Table

if TYPE_CHECKING:
    import dagster


def dagster_schema(table: Table) -> dagster.TableSchema:
    """Columns in file order with type, description, nullability and range; the key as a table constraint."""
    import dagster

    return dagster.TableSchema(
        columns=[_column(field, table) for field in table.fields],
        constraints=dagster.TableConstraints(other=[f"one row is {table.one_row_is}", f"key: {', '.join(table.key)}"]),
    )


def _column(field: Field, table: Table) -> dagster.TableColumn:
    import dagster

    bounds = range_words(field)
    return dagster.TableColumn(
        name=field.name,
        type=COLUMN_TYPES[field.kind],
        description=column_comment(field),
        constraints=dagster.TableColumnConstraints(
            nullable=field.nullable,
            unique=table.key == (field.name,),
            other=[bounds] if bounds else [],
        ),
    )
