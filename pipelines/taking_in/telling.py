"""What the ledger is told of a delivery's result."""

from __future__ import annotations

from collections import Counter
from typing import Any

from pipelines.depot.books.rows import Record
from pipelines.depot.desk import Desk
from pipelines.taking_in.resends import told_resends


def tell_result(desk: Desk, record: Record, why: str) -> None:
    """Write into the ledger what became of a delivery; in the transaction that makes it count."""
    standings = Counter(trial.standing for trial in desk.books.trials.of_delivery(record.delivery_id))
    details: dict[str, Any] = {
        "arrival": record.arrival,
        "fingerprint": record.fingerprint,
        "result": record.result,
        "code_version": record.code_version,
        "study_version": record.study_version,
        "trials": dict(sorted(standings.items())),
    }
    if resends := told_resends(desk, record):
        details["resends"] = resends
    desk.ledger.write(record.status, record.delivery_id, why, **details)
