"""Which deliveries brought a consents.csv that nobody could read: it may hold a withdrawal.

What can be read of single lines counts against whomever they name (``pipelines.intake.torn_consents``). What follows
for releases is in ``pipelines.release.unread_consents``.
"""

from __future__ import annotations

from pipelines.depot.books.rows import CONSENTS_UNREAD, NO, STOPPED, TAKEN_IN, YES, Record
from pipelines.depot.ledger import Wanted
from pipelines.depot.published import read_result
from pipelines.depot.storage import Depot
from schemas.delivery import SENT_CONSENTS
from schemas.quality import FINDINGS

LOOKED_AT = "consents_looked_at"


def unread_consents(depot: Depot) -> list[Record]:
    """Deliveries that were stopped since their consents.csv could not be read, for as long as nothing came for them.

    What is sent mended takes the place of one under its number, whatever its folder is called. Or somebody has looked
    at it and said so. The books must be opened.
    """
    return [
        record
        for record, unread in depot.books.deliveries.stopped(CONSENTS_UNREAD)
        if unread != NO  # of one that was stopped before this was noted its findings tell
        and not depot.books.ledger.knows(about(record), LOOKED_AT)
        and (unread == YES or any(map(is_unread, *_findings(depot, record.delivery_id))))
        and not _came_mended(depot, record)
    ]


def _came_mended(depot: Depot, record: Record) -> bool:
    """Whether these bytes had their number first, and another delivery was taken in under it afterwards.

    What lies in the inbox still is stopped again since then, under a name of its own. Bytes that came under a number
    which a delivery had already mend nothing.
    """
    if record.site is None or record.number is None:
        return False
    stopped = False
    for line in depot.books.ledger.entries(Wanted(about=f"{record.site}-{record.number:03d}")):
        details = line.details if isinstance(line.details, dict) else {}
        stopped |= line.what == STOPPED and details.get("fingerprint") == record.fingerprint
        if stopped and line.what == TAKEN_IN:
            return True
    return False


def about(record: Record) -> str:
    """By what the ledger knows the consents.csv of a delivery."""
    return f"consents-{record.fingerprint[:16]}"


def is_unread(file: str | None, weight: str, seen: str) -> bool:
    """Whether a finding stops a delivery since its consents.csv could not be read; what is not there says nothing."""
    return file == SENT_CONSENTS.file_name and weight == "stops" and not seen.rstrip(".").endswith("is missing")


def _findings(depot: Depot, delivery_id: str) -> tuple[list[str], ...]:
    """As ``is_unread`` takes them."""
    found = read_result(depot, delivery_id, FINDINGS)
    return tuple(found[name].tolist() for name in ("file", "weight", "seen"))
