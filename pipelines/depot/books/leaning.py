"""Which deliveries were judged with something of another delivery that is not what others give today.

A trial that needs a standing posture or muscle references which its own delivery does not bring takes them from the
newest other delivery of the laboratory. What it took, and what each trial gives, are stamps; here they are compared.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from pipelines.depot.books.asking import in_portions
from pipelines.depot.books.deliveries import current
from pipelines.depot.books.rows import (
    BORROWED_POSTURE,
    BORROWED_REFERENCES,
    GIVES_POSTURE,
    GIVES_REFERENCES,
    POSTURE_OF_SESSION,
    Record,
)
from pipelines.depot.books.tables import DELIVERIES, TRIAL_STAMPS, TRIALS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

#: Stamp of who takes, stamp of who gives, and the columns in which both must agree.
_POSTURE = (BORROWED_POSTURE, GIVES_POSTURE, ("site", "session_id", "condition"))
_REFERENCES = (BORROWED_REFERENCES, GIVES_REFERENCES, ("site", "session_id"))
_KINDS = (_POSTURE, _REFERENCES)


class Leaning:
    """Asks what deliveries lend each other."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def on_other_postures(self, made: Collection[str]) -> list[Record]:
        """Deliveries with a running trial judged with another posture than the newest that others give now."""
        return self._on_others(made, *_POSTURE)

    def on_other_references(self, made: Collection[str]) -> list[Record]:
        """Deliveries with a trial judged with other muscle references than the newest that others give now."""
        return self._on_others(made, *_REFERENCES)

    def lenders(self) -> dict[str, set[str]]:
        """Delivery that took something from another -> the other deliveries that give it."""
        found: dict[str, set[str]] = {}
        with self._books.reading() as connection:
            for borrowed, gives, by in _KINDS:
                for taker, giver in connection.execute(_lent(borrowed, gives, by)):
                    found.setdefault(str(taker), set()).add(str(giver))
        return found

    def newest_references(
        self, made: Collection[str], site: str, delivery_id: str, sessions: Iterable[str]
    ) -> dict[str, str]:
        """Session -> the newest other delivery of the site whose recordings give muscle references of it."""
        given = _given(made, *_REFERENCES[1:], but=delivery_id)
        found: dict[str, str] = {}
        with self._books.reading() as connection:
            for portion in in_portions(sessions):
                query = sa.select(given.c.session_id, given.c.delivery_id).where(
                    given.c.place == 1, given.c.site == site, given.c.session_id.in_(portion)
                )
                found |= {str(session): str(name) for session, name in connection.execute(query)}
        return found

    def _on_others(self, made: Collection[str], borrowed: str, gives: str, by: tuple[str, ...]) -> list[Record]:
        given = _given(made, gives, by)
        same = sa.and_(given.c.place == 1, *(given.c[name] == _leans_by(name, borrowed) for name in by))
        query = (
            sa.select(TRIALS.c.delivery_id)
            .distinct()
            .join(DELIVERIES, DELIVERIES.c.delivery_id == TRIALS.c.delivery_id)
            .join(
                TRIAL_STAMPS,
                sa.and_(
                    TRIAL_STAMPS.c.delivery_id == TRIALS.c.delivery_id, TRIAL_STAMPS.c.trial_id == TRIALS.c.trial_id
                ),
            )
            .outerjoin(given, same)
            .where(
                TRIAL_STAMPS.c.what == borrowed,
                TRIAL_STAMPS.c.used != sa.func.coalesce(given.c.used, ""),
                current(made),
                DELIVERIES.c.held,
            )
        )
        with self._books.reading() as connection:
            due = list(connection.scalars(query))
        return self._books.deliveries.named(due)


def _lent(borrowed: str, gives: str, by: tuple[str, ...]) -> sa.Select[Any]:
    """Who took something, and every other delivery that gives it."""
    giving, given = TRIALS.alias("giving"), TRIAL_STAMPS.alias("given")
    taken = TRIAL_STAMPS
    return (
        sa.select(TRIALS.c.delivery_id, giving.c.delivery_id)
        .distinct()
        .select_from(taken)
        .join(TRIALS, sa.and_(TRIALS.c.delivery_id == taken.c.delivery_id, TRIALS.c.trial_id == taken.c.trial_id))
        .join(giving, sa.and_(*(giving.c[name] == _leans_by(name, borrowed) for name in by)))
        .join(given, sa.and_(given.c.delivery_id == giving.c.delivery_id, given.c.trial_id == giving.c.trial_id))
        .where(taken.c.what == borrowed, taken.c.used != "", given.c.what == gives)
        .where(giving.c.delivery_id != TRIALS.c.delivery_id)
    )


def _leans_by(name: str, borrowed: str) -> sa.ColumnElement[Any]:
    """What a column must be in what is given to a trial; for a posture its row may name another session."""
    own = TRIALS.c[name]
    if name != "session_id" or borrowed != BORROWED_POSTURE:
        return own
    named = TRIAL_STAMPS.alias("named")
    of_same = sa.and_(named.c.delivery_id == TRIALS.c.delivery_id, named.c.trial_id == TRIALS.c.trial_id)
    other = sa.select(named.c.used).where(of_same, named.c.what == POSTURE_OF_SESSION).correlate(TRIALS)
    return sa.func.coalesce(other.scalar_subquery(), own)


def _given(made: Collection[str], gives: str, by: tuple[str, ...], but: str | None = None) -> sa.Subquery:
    """What trials give, the newest in place 1; of one delivery the last by name. but: not what this delivery gives."""
    trials, deliveries, stamps = TRIALS.alias("giving"), DELIVERIES.alias("from"), TRIAL_STAMPS.alias("given")
    newest_first = (
        sa.func.coalesce(deliveries.c.number, 0).desc(),
        deliveries.c.delivery_id.desc(),
        trials.c.trial_id.desc(),
    )
    partition = [trials.c[name] for name in by]
    place = sa.func.row_number().over(partition_by=partition, order_by=newest_first).label("place")
    query = (
        sa.select(*partition, trials.c.delivery_id, stamps.c.used, place)
        .select_from(stamps)
        .join(trials, sa.and_(trials.c.delivery_id == stamps.c.delivery_id, trials.c.trial_id == stamps.c.trial_id))
        .join(deliveries, deliveries.c.delivery_id == trials.c.delivery_id)
        .where(stamps.c.what == gives, current(made, deliveries))
    )
    if but is not None:
        query = query.where(trials.c.delivery_id != but)
    return query.subquery("newest")
