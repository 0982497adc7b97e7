"""What is remembered of the breathing gas of a runner who withdraws, taken from the tables that the depot holds.

What a print is, and why it is enough to know the same values again, is in ``pipelines.identity.gas_prints``.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from pipelines.consent.redaction import rows_of_table
from pipelines.depot import keys
from pipelines.depot.books.rows import Payload, Record
from pipelines.depot.published import prove
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.identity.gas_prints import prints, to_keep
from pipelines.workers.isolation import Isolated
from schemas.consent_history import spelled
from schemas.delivery import SENT_SESSIONS
from schemas.delivery_beside import SENT_BREATHS
from schemas.privacy import EVERY_SCOPE, POOLING, RUNNER, SESSION

#: Withdrawals after which breathing gas may not come again.
SCOPES = frozenset({EVERY_SCOPE, POOLING, *(SENT_BREATHS.rows.scopes if SENT_BREATHS.rows else ())})


def prints_to_keep(depot: Depot, isolated: Isolated, records: Iterable[Record], runner: str) -> set[str]:
    """Prints of the runner's gas in these deliveries. Raises Unusable if a table is damaged or cannot be read again."""
    found: set[str] = set()
    for record in records:
        payload = depot.books.deliveries.payload(record.delivery_id)
        paths = [_stored(depot, record, payload, str(t.file_name)) for t in (SENT_BREATHS, SENT_SESSIONS)]
        if None in paths:
            continue
        ended = isolated.run(_prints_of_runner, (*paths, runner))
        if ended.problem is not None:
            raise Unusable(
                f"The breathing gas of a runner who withdraws could not be read: {ended.detail}.",
                "tables that can be read again within the limits of the study file.",
                "Raise trial_time_limit_s or trial_memory_limit_mb, then ask again.",
            )
        found |= ended.value
    return found


def _stored(depot: Depot, record: Record, payload: Payload, name: str) -> Path | None:
    """The bytes of a table as the depot holds them; None if the delivery has none."""
    for path, key, sha in keys.payload(record.delivery_id, payload):
        if path == name:
            prove(depot.store, key, sha)
            return depot.store.local(key)
    return None


def _prints_of_runner(asked: tuple[Path, Path, str]) -> set[str]:
    breaths, sessions, runner = asked
    own = {row.get(SESSION, "") for row in rows_of_table(sessions) if spelled(row.get(RUNNER, "")) == spelled(runner)}
    bouts = prints(row for row in rows_of_table(breaths) if row.get(SESSION, "") in own).values()
    return {one for session in bouts for bout in session for one in to_keep(bout)}
