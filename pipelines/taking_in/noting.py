"""What is remembered of a name in the inbox: what it became, and of what was stopped its bytes."""

from __future__ import annotations

from pipelines.depot.arrivals import Arrival
from pipelines.depot.books.rows import CAME_AS, STOPPED, Known, Record
from pipelines.depot.desk import Desk


def remember(desk: Desk, arrival: Arrival, signature: str, record: Record) -> None:
    """Remember what a name in the inbox became; signature: as it was before the delivery was opened.

    Of one that was stopped also the bytes, so that they are not opened again when only their dates change.
    """
    content = arrival.content() if _is_only_told(record) else None
    with desk.books.transaction():
        desk.books.arrivals.put(arrival.site, arrival.name, Known(signature, record.delivery_id))
        if content is not None and arrival.signature() == signature:
            desk.books.stamps.put(record.delivery_id, CAME_AS, content)


def stopped_as_it_is(desk: Desk, arrival: Arrival) -> Record | None:
    """The delivery that was stopped with the same bytes under the same name; None if there is none."""
    known = desk.books.arrivals.known(arrival.site, arrival.name)
    record = desk.books.deliveries.get(known.delivery_id) if known is not None else None
    if record is None or not _is_only_told(record):
        return None
    then = desk.books.stamps.of_delivery(record.delivery_id).get(CAME_AS)
    return record if then is not None and then == arrival.content() else None


def _is_only_told(record: Record) -> bool:
    """Whether it was stopped, and the depot holds nothing of it."""
    return record.status == STOPPED and not record.held
