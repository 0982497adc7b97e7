"""Every table, found by walking the definition modules: no list to keep by hand."""

from __future__ import annotations

from schemas import (
    codes,
    core,
    delivery,
    delivery_beside,
    equipment,
    outcomes,
    outcomes_contrasts,
    outcomes_flow,
    outcomes_muscle,
    outcomes_of_trials,
    outcomes_planned,
    outcomes_planned_curves,
    outcomes_planned_doses,
    outcomes_reliability,
    outcomes_signals,
    outcomes_study,
    quality,
)
from schemas.model import DefinitionError, Layer, Table

_MODULES = (
    delivery,
    delivery_beside,
    core,
    outcomes,
    outcomes_of_trials,
    outcomes_signals,
    outcomes_muscle,
    outcomes_study,
    outcomes_contrasts,
    outcomes_flow,
    outcomes_planned,
    outcomes_planned_curves,
    outcomes_planned_doses,
    outcomes_reliability,
    equipment,
    quality,
)


def _collect() -> dict[str, Table]:
    tables: dict[str, Table] = {}
    for module in _MODULES:
        for value in vars(module).values():
            if isinstance(value, Table):
                if tables.get(value.name, value) is not value:
                    raise DefinitionError(f"two tables are called {value.name}")
                tables[value.name] = value
    for table in tables.values():
        refuse_privacy(table, tables)
        for reference in table.references:
            target = tables.get(reference.table)
            if target is None or not set(reference.table_columns) <= set(target.column_names):
                raise DefinitionError(
                    f"table {table.name}: reference to unknown {reference.table}{reference.table_columns}"
                )
    return tables


def refuse_privacy(table: Table, tables: dict[str, Table]) -> None:
    """Refuse scopes, days and pooled tables that are not there; only here are all of them known."""
    scopes = {s for f in table.fields for code in f.codes for s in code.scopes} | set(
        table.rows.scopes if table.rows else ()
    )
    if unknown := scopes - {code.value for code in codes.CONSENT_SCOPE}:
        raise DefinitionError(
            f"table {table.name}: no runner can agree to {sorted(unknown)}, which is no scope of consent"
        )
    if table.rows and table.rows.day and table.column(table.rows.day).unit not in ("d", "wk"):
        raise DefinitionError(f"table {table.name}: {table.rows.day} is neither a study day (d) nor a week (wk)")
    sent = tables.get(table.pools) if table.pools else None
    if table.pools and (sent is None or sent.layer is not Layer.DELIVERY or sent.key != table.key):
        raise DefinitionError(f"table {table.name}: it pools {table.pools}, which is no delivery table with its key")


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
