"""What is noted of a delivery once its result counts: its line in the ledger, and what its name in the inbox became."""

from __future__ import annotations

from typing import Any

from pipelines.depot.arrivals import Arrival
from pipelines.depot.books.rows import Known, Record
from pipelines.depot.desk import Desk, Tell
from pipelines.taking_in.resends import told_resends
from pipelines.taking_in.stages import judge_again
from pipelines.taking_in.summary import count_standings


def again(desk: Desk, record: Record, why: str, tell: Tell) -> Record:
    """Judge a delivery again and write it into the ledger."""
    now = judge_again(desk, record, tell).record
    note(desk, now, why)
    return now


def remember(desk: Desk, arrival: Arrival, signature: str, record: Record) -> None:
    """Remember what a name in the inbox became; signature: as it was before the delivery was opened."""
    with desk.books.transaction():
        desk.books.arrivals.put(arrival.site, arrival.name, Known(signature, record.delivery_id))


def note(desk: Desk, record: Record, why: str) -> None:
    """Write a result into the ledger."""
    details: dict[str, Any] = {
        "arrival": record.arrival,
        "fingerprint": record.fingerprint,
        "result": record.result,
        "code_version": record.code_version,
        "study_version": record.study_version,
        "trials": dict(count_standings(desk.depot, record)),
    }
    if resends := told_resends(desk, record):
        details["resends"] = resends
    desk.ledger.write(record.status, record.delivery_id, why, **details)
