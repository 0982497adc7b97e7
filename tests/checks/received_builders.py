"""Small deliveries for tests: literal rows in, a Received out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from schemas.catalogue import TABLES, tables_of
from schemas.convert.to_arrow import PANDAS_TYPES
from schemas.model import Layer
from schemas.received import PayloadFile, Problem, Received

SCOPES = ("motion", "force", "pooling")
RUNNER = {"participant_id": "P1", "birth_year": 1990, "sex": "female", "stature_m": 1.7, "mass_kg": 60.0}
SESSION = {
    "session_id": "S1",
    "participant_id": "P1",
    "visit": "first",
    "study_day": 0,
    "mass_kg": 61.0,
    "surface": "treadmill",
    "set_speed_m_per_s": 3.0,
}


def a_row(trial_id: str, kind: str = "running", **changes: Any) -> dict[str, Any]:
    """A row of trials.csv."""
    row = {"trial_id": trial_id, "session_id": "S1", "condition": "shod", "kind": kind, "trial_order": 1}
    return {**row, "file": f"trials/{trial_id}.c3d", **changes}


def a_consent(scope: str, event: str = "given", day: int = -1, runner: str = "P1") -> dict[str, Any]:
    return {
        "participant_id": runner,
        "scope": scope,
        "event": event,
        "study_day": day,
        "form_version": "1",
    }


def a_table(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """A typed frame of a delivery table; columns that no row names are null."""
    table = TABLES[name]
    columns = {
        field.name: pd.Series([row.get(field.name) for row in rows], dtype=PANDAS_TYPES[field.kind])
        for field in table.fields
    }
    return pd.DataFrame(columns)


def a_delivery(**changes: Any) -> Received:
    """A clean delivery of lab ``mill``: one runner, one session, a standing and a running trial.

    ``changes`` replace tables (``sent_trials=[...]``) or fields of Received (``number=None``).
    """
    rows: dict[str, list[dict[str, Any]]] = {
        "sent_participants": [RUNNER],
        "sent_sessions": [SESSION],
        "sent_trials": [a_row("T0", "standing"), a_row("T1")],
        "sent_consents": [a_consent(scope) for scope in SCOPES],
    }
    rows |= {name: value for name, value in changes.items() if name in TABLES}
    tables = {table.name: a_table(table.name, rows.get(table.name, [])) for table in tables_of(Layer.DELIVERY)}
    named = [TABLES[name].file_name for name in rows] + [
        path for row in rows["sent_trials"] for path in (row.get("file"), row.get("sidecar")) if path
    ]
    received = Received(
        arrived_as="mill_001.zip",
        inbox_site="mill",
        site="mill",
        number=1,
        bag_info={"Source-Organization": "mill"},
        files=files(*dict.fromkeys(str(path) for path in named), "datapackage.json"),
        tables=tables,
    )
    return replace(received, **{name: value for name, value in changes.items() if name not in TABLES})


def files(*paths: str) -> tuple[PayloadFile, ...]:
    return tuple(PayloadFile(path, 10, "0" * 64) for path in paths)


def with_problem(kind: str, **where: Any) -> Received:
    """The clean delivery with one problem that intake met."""
    problem = Problem(kind, "the thing is not so", "the thing to be so", **where)  # type: ignore[arg-type]
    return a_delivery(problems=(problem,))
