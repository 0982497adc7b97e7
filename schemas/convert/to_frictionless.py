"""Table definition to Frictionless Table Schema, and tables to a Data Package descriptor. Writes no file.

The descriptor keeps to what both version 1 and version 2 of the standard read; the unit stands in a property of its
own, ``unit``, as a UCUM code.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from schemas.convert.words import codes_sentence
from schemas.model import Field, Kind, Table

#: A short key. Begins with a letter or digit, so that no key reads as an option, a hidden file or a folder.
IDENTIFIER_PATTERN = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"

_TYPES = {
    Kind.IDENTIFIER: "string",
    Kind.CODE: "string",
    Kind.TEXT: "string",
    Kind.INTEGER: "integer",
    Kind.REAL: "number",
    Kind.BOOLEAN: "boolean",
}


def table_schema(
    table: Table, *, beside: Iterable[str] | None = None, left_out: Collection[str] = ()
) -> dict[str, Any]:
    """The Table Schema of ``table`` without the columns ``left_out``; foreign keys of the others to tables in ``beside`` (None: all)."""
    present = None if beside is None else set(beside)
    schema: dict[str, Any] = {
        "fields": [_field(field) for field in table.fields if field.name not in left_out],
        "missingValues": [""],
        "primaryKey": list(table.key),
    }
    keys = [
        {
            "fields": list(reference.columns),
            "reference": {"resource": reference.table, "fields": list(reference.table_columns)},
        }
        for reference in table.references
        if (present is None or reference.table in present) and not set(reference.columns) & set(left_out)
    ]
    return schema | ({"foreignKeys": keys} if keys else {})


def data_package(
    present_tables: Iterable[Table], name: str, title: str, left_out: Mapping[str, Collection[str]] | None = None
) -> dict[str, Any]:
    """The content of ``datapackage.json`` for a payload that holds ``present_tables``.

    name: lower-case words joined by dashes, for example ``brack-001``. title: for people. A resource is called as its
    table and lies at the table's file name, or for tables that are not sent, at ``<table>.csv``. left_out: table name
    -> columns that its file does not have.
    """
    tables = tuple(present_tables)
    names = [table.name for table in tables]
    resources = [
        {
            "name": table.name,
            "path": table.file_name or f"{table.name}.csv",
            "description": f"One row is {table.one_row_is}.",
            "profile": "tabular-data-resource",
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "schema": table_schema(table, beside=names, left_out=(left_out or {}).get(table.name, ())),
        }
        for table in tables
    ]
    return {"name": name, "title": title, "profile": "tabular-data-package", "resources": resources}


def _field(field: Field) -> dict[str, Any]:
    constraints: dict[str, Any] = {} if field.nullable else {"required": True}
    if field.kind is Kind.IDENTIFIER:
        constraints["pattern"] = IDENTIFIER_PATTERN
    if field.codes:
        constraints["enum"] = [code.value for code in field.codes]
    for word, bound in (("minimum", field.low), ("maximum", field.high)):
        if bound is not None:
            constraints[word] = int(bound) if field.kind is Kind.INTEGER else bound
    described: dict[str, Any] = {"name": field.name, "type": _TYPES[field.kind]}
    described["description"] = " ".join(p for p in (field.description, codes_sentence(field)) if p)
    if field.unit:
        described["unit"] = field.unit
    return described | ({"constraints": constraints} if constraints else {})
