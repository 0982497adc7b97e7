"""Every table, found by walking the definition modules: no list to keep by hand."""

from __future__ import annotations

from schemas import core, delivery, outcomes, outcomes_signals, outcomes_study, quality
from schemas.model import DefinitionError, Layer, Table

_MODULES = (delivery, core, outcomes, outcomes_signals, outcomes_study, quality)


def _collect() -> dict[str, Table]:
    tables: dict[str, Table] = {}
    for module in _MODULES:
        for value in vars(module).values():
            if isinstance(value, Table):
                if tables.get(value.name, value) is not value:
                    raise DefinitionError(f"two tables are called {value.name}")
                tables[value.name] = value
    for table in tables.values():
        for reference in table.references:
            target = tables.get(reference.table)
            if target is None or not set(reference.table_columns) <= set(target.column_names):
                raise DefinitionError(
                    f"table {table.name}: reference to unknown {reference.table}{reference.table_columns}"
                )
    return tables


TABLES: dict[str, Table] = _collect()


def tables_of(*layers: Layer) -> tuple[Table, ...]:
    """The tables of the given layers, in definition order."""
    return tuple(t for t in TABLES.values() if t.layer in layers)


def made_by(table: Table) -> str:
    """The module that defines ``table``, as a path in the repository."""
    for module in _MODULES:
        if any(isinstance(value, Table) and value.name == table.name for value in vars(module).values()):
            return module.__name__.replace(".", "/") + ".py"
    raise KeyError(table.name)
