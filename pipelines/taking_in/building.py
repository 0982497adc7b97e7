"""What is made of all deliveries together, warehouse and pages, and whether they show what the depot holds."""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from typing import TYPE_CHECKING

from pipelines.depot import keys
from pipelines.depot.desk import Desk
from pipelines.depot.plans import frozen_plans
from pipelines.versions import shown_version

if TYPE_CHECKING:
    from pipelines.pool.readied import Readied

_ASKED = "Asked for anew, from the results of all deliveries."


def is_built(desk: Desk) -> bool:
    """Whether warehouse and pages are there and show what the depot holds."""
    depot = desk.depot
    if not all(map(depot.store.exists, keys.BUILT)):
        return False
    return desk.books.builds.made_from() == _state(desk)


def build_warehouse_stage(desk: Desk, *, anew: bool = False, readied: Readied | None = None) -> dict[str, int]:
    """Build the warehouse; rows by table.

    anew: from the Parquet files of all deliveries, whatever is there. readied: what was begun before.
    """
    from pipelines.pool.build import build_warehouse

    results, published = desk.books.deliveries.results(), desk.books.files.all()
    made_by = desk.stamp.code_version
    built = build_warehouse(
        desk.depot, desk.study, made_by, results, published, anew=anew, readied=readied, frozen=frozen_plans(desk.books)
    )
    rows = built.rows
    with desk.books.transaction():
        desk.books.files.put(keys.WAREHOUSE, {keys.WAREHOUSE: built.sha256})
        desk.ledger.write("built", "depot", _ASKED if anew else "Deliveries, code or study file changed.", rows=rows)
    return rows


def build_pages_stage(desk: Desk, *, anew: bool = False) -> None:
    """Write the pages, then note that all is built. anew: also those that would say the same as the file there."""
    from pipelines.pages import write_pages

    noted = desk.books.files.of(keys.PAGES)
    with desk.books.transaction():
        desk.books.files.drop(keys.PAGES)  # killed from here on, all are hashed the next time
        desk.books.files.drop(keys.SAFETY)
    write_pages(desk.depot, desk.study, anew=anew, noted=noted, follow_ups=desk.books.follow_ups.of)
    with desk.books.transaction():
        desk.books.files.put(keys.PAGES, noted)
        _note_safety(desk)
    desk.books.take_stock()


def build_safety_stage(desk: Desk) -> None:
    """Write the safety lead's page alone, after a follow-up was noted; warehouse and other pages must be as built."""
    from pipelines.pages import write_safety

    with desk.books.transaction():
        desk.books.files.drop(keys.SAFETY)
    write_safety(desk.depot, desk.study, desk.books.follow_ups.of)
    with desk.books.transaction():
        _note_safety(desk)


def _note_safety(desk: Desk) -> None:
    """Note the safety lead's page, the last that is written, and that all is built."""
    desk.books.files.put(keys.SAFETY, {name: desk.depot.safety.sha256(name) for name in desk.depot.safety.below()})
    desk.books.builds.put(_state(desk))


def _state(desk: Desk) -> str:
    results = sorted(desk.books.deliveries.results().items())
    plan = desk.study.plan.sha256 if desk.study.plan is not None else None
    plans = plan, [one.sha256 for one in frozen_plans(desk.books)]
    followed = desk.books.follow_ups.all_words()
    return hashlib.sha256(repr((results, asdict(desk.stamp), shown_version(), plans, followed)).encode()).hexdigest()
