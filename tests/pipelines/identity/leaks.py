"""Looks for a text in everything a depot holds: in bytes, and in tables whose files are packed."""

from __future__ import annotations

from pathlib import Path

import duckdb

from pipelines.depot.keys import CLOSED, RAW
from pipelines.depot.storage import Depot, read_table

_TABLES = "SELECT table_schema, table_name FROM information_schema.tables"


def where_it_shows(depot_root: Path, values: list[str]) -> list[str]:
    """Files of the depot, the raw store and what is kept apart left out, that hold one of ``values``."""
    depot = Depot(depot_root)
    shown = []
    for path in sorted(p for p in depot_root.rglob("*") if p.is_file()):
        if path.relative_to(depot.root).parts[0] in (RAW, CLOSED):
            continue
        text = str(path.relative_to(depot_root)) + "\n" + _text(path)
        shown += [
            f"{path.relative_to(depot_root)}: value {i}" for i, v in enumerate(values) if v.lower() in text.lower()
        ]
    return shown


def _text(path: Path) -> str:
    text = path.read_bytes().decode("utf-8", errors="replace")
    if path.suffix == ".parquet":
        text += read_table(path).to_csv()
    if path.suffix == ".duckdb":
        with duckdb.connect(str(path), read_only=True) as warehouse:
            for schema, name in warehouse.execute(_TABLES).fetchall():
                text += str(warehouse.execute(f'SELECT * FROM "{schema}"."{name}"').fetchall())
    return text
