"""Which delivery is before which: the question behind every comparison with what came earlier.

Of one laboratory the smaller number is before, whenever it came. Of different laboratories what came earlier is before,
so that of two that use one id, or send one file, the second is told, and is told the same when it is judged again.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from pipelines.depot.books.tables import DELIVERIES


def before(site: str | None, number: int | None, came: str | None) -> sa.ColumnElement[bool]:
    """Whether a delivery is before one of ``site`` with ``number``. came: see ``of_another_site``."""
    c = DELIVERIES.c
    of_the_site = sa.and_(c.site == site, sa.func.coalesce(c.number, 0) < (number or 0))
    return sa.or_(of_the_site, of_another_site(site, came))


def after(site: str | None, number: int | None, came: str | None) -> sa.ColumnElement[bool]:
    """Whether one of ``site`` with ``number`` is before a delivery. came: see ``of_another_site``."""
    c = DELIVERIES.c
    of_the_site = sa.and_(c.site == site, sa.func.coalesce(c.number, 0) > (number or 0))
    if came is None:
        return of_the_site
    later = sa.or_(c.received_utc > came, sa.and_(c.received_utc == came, c.site > site))
    return sa.or_(of_the_site, sa.and_(c.site != site, later))


def of_another_site(site: str | None, came: str | None) -> sa.ColumnElement[bool]:
    """Whether a delivery of another laboratory came before one. came: when, ISO 8601; None if only now."""
    return DELIVERIES.c.site.is_distinct_from(site) if came is None else came_earlier(DELIVERIES, site, came)


def came_earlier(other: sa.FromClause, site: Any, came: Any) -> sa.ColumnElement[bool]:
    """The same for any two deliveries; site, came: values or columns. At once is in one run: in order of laboratory."""
    c = other.c
    return sa.and_(c.site != site, sa.or_(c.received_utc < came, sa.and_(c.received_utc == came, c.site < site)))
