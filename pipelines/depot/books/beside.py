"""What of deliveries before it a delivery was judged beside: the same ids, the same files, the same recordings.

What it is today is noted with each result, in the same transaction, so that who was judged beside something else is
found by comparing. What is before what is in ``pipelines.depot.books.order``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books.deliveries import current
from pipelines.depot.books.order import came_earlier
from pipelines.depot.books.rows import BESIDE, COPY_OF, TAKEN_IN, Record
from pipelines.depot.books.tables import DELIVERIES, DELIVERY_STAMPS, TRIAL_STAMPS, TRIALS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

_ACCEPTED = "accepted"
_OWN, _OTHER = DELIVERIES.alias("own"), DELIVERIES.alias("other")
_OF_OWN, _OF_OTHER = TRIALS.alias("of_own"), TRIALS.alias("of_other")
#: What, own id, number of the other delivery, other delivery, other id.
_Fact = tuple[str, str, int, str, str]


class Beside:
    """Asks what deliveries stand beside, and notes it."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def note(self, delivery_id: str) -> None:
        """Note what a delivery that was just written stands beside; in a transaction."""
        word = self._words(_OWN.c.delivery_id == delivery_id).get(delivery_id)
        if word is not None:
            row = {"delivery_id": delivery_id, "what": BESIDE, "used": word}
            self._books.writer().execute(sa.insert(DELIVERY_STAMPS), row)

    def others(self, made: Collection[str]) -> list[Record]:
        """Deliveries that were judged beside something else than what is there now."""
        now, c = self._words(sa.true()), DELIVERY_STAMPS.c
        noted = (
            sa.select(DELIVERIES.c.delivery_id, c.used)
            .outerjoin(DELIVERY_STAMPS, sa.and_(c.delivery_id == DELIVERIES.c.delivery_id, c.what == BESIDE))
            .where(current(made), DELIVERIES.c.held, sa.or_(c.used.is_not(None), DELIVERIES.c.delivery_id.in_(now)))
        )
        with self._books.reading() as connection:
            due = {name for name, used in connection.execute(noted) if used != now.get(name)}
            due |= set(connection.scalars(_copies_of_what_is_gone(made)))
        return self._books.deliveries.named(due)

    def originals_came(self, deliveries: Collection[str]) -> None:
        """These were judged while recordings were not there that they have copies of, and are due; in a transaction."""
        connection, c = self._books.writer(), DELIVERY_STAMPS.c
        for name in deliveries:
            connection.execute(sa.delete(DELIVERY_STAMPS).where(c.delivery_id == name, c.what == BESIDE))
            connection.execute(sa.insert(DELIVERY_STAMPS), {"delivery_id": name, "what": BESIDE, "used": ""})

    def _words(self, which: sa.ColumnElement[bool]) -> dict[str, str]:
        """Delivery -> one word for what it stands beside now; without those that stand beside nothing."""
        facts: dict[str, set[_Fact]] = {}
        with self._books.reading() as connection:
            for what, query in _QUESTIONS.items():
                for name, own_id, number, other, other_id in connection.execute(query.where(which)):
                    facts.setdefault(str(name), set()).add((what, own_id, number or 0, other, other_id))
        return {name: hashlib.sha256(repr(_told(own)).encode()).hexdigest()[:16] for name, own in facts.items()}


def _told(facts: set[_Fact]) -> list[_Fact]:
    """The facts in order; of the versions of a trial before only the newest is looked at."""
    newest = {fact[1]: fact for fact in sorted(facts) if fact[0] == "known"}
    return sorted([fact for fact in facts if fact[0] != "known"] + list(newest.values()))


def _pairs(same: sa.ColumnElement[bool], *which: sa.ColumnElement[bool], by: str = "trial_id") -> sa.Select[Any]:
    """Own and other trials that have something in common. by: the id they are told by."""
    return (
        sa.select(_OWN.c.delivery_id, _OF_OWN.c[by], _OTHER.c.number, _OTHER.c.delivery_id, _OF_OTHER.c[by])
        .distinct()
        .select_from(_OF_OWN)
        .join(_OWN, _OWN.c.delivery_id == _OF_OWN.c.delivery_id)
        .join(_OF_OTHER, same)
        .join(_OTHER, _OTHER.c.delivery_id == _OF_OTHER.c.delivery_id)
        .where(_OWN.c.status == TAKEN_IN, _OTHER.c.status == TAKEN_IN, _OTHER.c.arrival != _OWN.c.arrival, *which)
    )


_SAME_TRIAL = _OF_OTHER.c.trial_id == _OF_OWN.c.trial_id
_OF_THE_SITE = sa.and_(
    _OTHER.c.site == _OWN.c.site, sa.func.coalesce(_OTHER.c.number, 0) < sa.func.coalesce(_OWN.c.number, 0)
)
_OF_ANOTHER = came_earlier(_OTHER, _OWN.c.site, _OWN.c.received_utc)
_QUESTIONS = {
    "known": _pairs(_SAME_TRIAL, _OF_THE_SITE),
    "id": _pairs(_SAME_TRIAL, _OF_ANOTHER),
    "session": _pairs(
        sa.and_(_OF_OTHER.c.session_id == _OF_OWN.c.session_id, _OF_OTHER.c.site != _OF_OWN.c.site),
        _OF_ANOTHER,
        _OF_OTHER.c.standing == _ACCEPTED,
        by="session_id",
    ),
    "file": _pairs(
        sa.and_(_OF_OTHER.c.raw_sha256 == _OF_OWN.c.raw_sha256, _OF_OTHER.c.trial_id != _OF_OWN.c.trial_id),
        sa.or_(_OF_THE_SITE, _OF_ANOTHER),
        _OF_OTHER.c.standing == _ACCEPTED,
    ),
}


def _copies_of_what_is_gone(made: Collection[str]) -> sa.Select[tuple[str]]:
    """Deliveries with a trial that was found to be the recording of one which is not accepted now."""
    one = _OF_OTHER.c.delivery_id + "/" + _OF_OTHER.c.trial_id
    there = sa.exists().where(one == TRIAL_STAMPS.c.used, _OF_OTHER.c.standing == _ACCEPTED).correlate(TRIAL_STAMPS)
    return (
        sa.select(TRIAL_STAMPS.c.delivery_id)
        .distinct()
        .join(DELIVERIES, DELIVERIES.c.delivery_id == TRIAL_STAMPS.c.delivery_id)
        .where(TRIAL_STAMPS.c.what == COPY_OF, current(made), DELIVERIES.c.held, sa.not_(there))
    )
