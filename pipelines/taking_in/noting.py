"""What is done round a delivery's stages: judging it again, and remembering what its name in the inbox became."""

from __future__ import annotations

from pipelines.depot.arrivals import Arrival
from pipelines.depot.books.rows import Known, Record
from pipelines.depot.desk import Desk, Tell
from pipelines.taking_in.stages import judge_again


def again(desk: Desk, record: Record, why: str, tell: Tell) -> Record:
    """Judge a delivery again. why: for the ledger."""
    return judge_again(desk, record, tell, why).record


def remember(desk: Desk, arrival: Arrival, signature: str, record: Record) -> None:
    """Remember what a name in the inbox became; signature: as it was before the delivery was opened."""
    with desk.books.transaction():
        desk.books.arrivals.put(arrival.site, arrival.name, Known(signature, record.delivery_id))
