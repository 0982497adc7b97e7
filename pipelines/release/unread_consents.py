"""Keeps a release from being frozen while a consents.csv lies there that nobody could read: it may hold a withdrawal.

What can be read of single lines counts against whomever they name (``pipelines.intake.torn_consents``); this is for the
rest, until the table comes mended or somebody has looked at it and says so with a name and a reason.
"""

from __future__ import annotations

from pipelines.depot.books.rows import STOPPED
from pipelines.depot.desk import Desk
from pipelines.depot.published import read_result
from pipelines.errors import Unusable
from pipelines.identity.reasons import refuse_who
from pipelines.identity.word_list import names_beside
from schemas.delivery import SENT_CONSENTS
from schemas.quality import FINDINGS

LOOKED_AT = "consents_looked_at"


def unread(desk: Desk) -> list[str]:
    """Deliveries that were stopped since their consents.csv could not be read, and that nobody has looked at."""
    return [
        record.delivery_id
        for record in desk.books.deliveries.all()
        if record.status == STOPPED
        and not desk.books.ledger.knows(_about(record.fingerprint), LOOKED_AT)
        and _stops_by_consents(desk, record.delivery_id)
    ]


def _stops_by_consents(desk: Desk, delivery_id: str) -> bool:
    found = read_result(desk.depot, delivery_id, FINDINGS)
    own = found[(found["file"] == SENT_CONSENTS.file_name) & (found["weight"] == "stops")]
    return any(
        not str(seen).rstrip(".").endswith("is missing") for seen in own["seen"]
    )  # what is not there says nothing


def _about(fingerprint: str) -> str:
    return f"consents-{fingerprint[:16]}"


def refuse_unread(desk: Desk) -> None:
    """Raises Unusable if there is one."""
    if names := unread(desk):
        raise Unusable(
            f"consents.csv could not be read in {', '.join(names)}, and a withdrawal may be in it.",
            "every consents.csv that came read, or looked at by a person.",
            "Have the laboratory send it mended and run again. Or look at it, withdraw by command whoever withdraws "
            "there, and say what you found with --consents-looked-at.",
            file=desk.depot.root,
        )


def looked_at(desk: Desk, why: str) -> None:
    """Note in the ledger that the desk's actor has looked at all of them. Raises Unusable for a reason that names."""
    if not why.strip():
        raise Unusable("No reason is given.", "what was found in consents.csv.", "Say it with --consents-looked-at.")
    refuse_who(why, desk.books.gates.every_runner(), names_beside(desk.study.path))
    for name in unread(desk):
        record = desk.books.deliveries.get(name)
        if record is not None:
            desk.ledger.decided(LOOKED_AT, _about(record.fingerprint), why.strip(), delivery=name)
