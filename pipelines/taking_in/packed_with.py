"""Deliveries that were packed, and so checked, with a study file, a profile or code that the depot does not judge by.

What a bag tells of it is in ``pipelines.judging.packed_with``; a bag that was made by other tools tells nothing.
"""

from __future__ import annotations

from functools import cache

from pipelines.depot.desk import Desk
from pipelines.judging.packed_with import older


def packed_with_older(desk: Desk) -> dict[str, str]:
    """Delivery -> what to tell its laboratory; of those alone of which there is something to tell."""
    judged = cache(lambda site: older(desk.study, site))
    told = ((name, judged(site)(fields)) for name, site, fields in desk.books.deliveries.packed_with())
    return {name: words for name, words in told if words is not None}
