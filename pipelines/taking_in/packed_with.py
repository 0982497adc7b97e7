"""Deliveries that were packed, and so checked, with a study file, a profile or code that the depot does not judge by.

What a bag tells of it is in ``pipelines.judging.packed_with``; a bag that was made by other tools tells nothing.
"""

from __future__ import annotations

from contextlib import suppress
from functools import cache

from pipelines.depot import keys
from pipelines.depot.desk import Desk
from pipelines.judging.packed_with import fields_in, older


def packed_with_older(desk: Desk) -> dict[str, str]:
    """Delivery -> what to tell its laboratory; of those alone of which there is something to tell."""
    found = {}
    judged = cache(lambda site: older(desk.study, site))
    for record in desk.books.deliveries.all():
        if record.site is None:
            continue
        with suppress(OSError):  # nothing of it is kept
            info = desk.depot.result(record.delivery_id).read(f"{keys.BAG}/bag-info.txt")
            if (told := judged(record.site)(fields_in(info))) is not None:
                found[record.delivery_id] = told
    return found
