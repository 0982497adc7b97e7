"""Keeps a release from being frozen while a consents.csv lies there that nobody could read: it may hold a withdrawal.

Until the table comes mended, or somebody has looked at it and says so with a name and a reason. Which deliveries they
are is in ``pipelines.depot.unread_consents``.
"""

from __future__ import annotations

from pipelines.depot.desk import Desk
from pipelines.depot.unread_consents import LOOKED_AT, about, unread_consents
from pipelines.errors import Unusable
from pipelines.identity.reasons import refuse_who
from pipelines.identity.word_list import names_beside


def refuse_unread(desk: Desk) -> None:
    """Raises Unusable if there is one."""
    if names := [record.delivery_id for record in unread_consents(desk.depot)]:
        raise Unusable(
            f"consents.csv could not be read in {', '.join(names)}, and a withdrawal may be in it.",
            "every consents.csv that came read, or looked at by a person.",
            "Have the site send it corrected and run again. Or look at it, withdraw by command whoever withdraws "
            "there, and say what you found with --consents-looked-at.",
            file=desk.depot.root,
        )


def looked_at(desk: Desk, why: str) -> None:
    """Note in the ledger that the desk's actor has looked at all of them. Raises Unusable for a reason that names."""
    if not why.strip():
        raise Unusable("No reason is given.", "what was found in consents.csv.", "Say it with --consents-looked-at.")
    refuse_who(why, desk.books.gates.every_runner(), names_beside(desk.study.path))
    for record in unread_consents(desk.depot):
        desk.ledger.decided(LOOKED_AT, about(record), why.strip(), delivery=record.delivery_id)
