"""What is made of all deliveries together: warehouse, pages, outbox; and whether they show what the depot holds."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, replace
from typing import TYPE_CHECKING

from pipelines.consent import held_texts
from pipelines.depot import keys
from pipelines.depot.books.rows import OPEN
from pipelines.depot.desk import Desk
from pipelines.depot.plans import frozen_plans
from pipelines.study.silence import Silent, silent_sites
from pipelines.taking_in.packed_with import packed_with_older
from pipelines.versions import shown_version

if TYPE_CHECKING:
    from pipelines.depot.store import Store
    from pipelines.pages.outbox import Made
    from pipelines.pool.beside import Beside
    from pipelines.pool.readied import Readied

_ASKED = "Asked for anew, from the results of all deliveries."


def is_built(desk: Desk) -> bool:
    """Whether warehouse, pages and outbox are there and show what the depot holds."""
    depot = desk.depot
    if not all(map(depot.store.exists, keys.BUILT)):
        return False
    return desk.books.builds.made_from() == _state(desk)


def silent_today(desk: Desk) -> tuple[Silent, ...]:
    """Sites from which nothing has come for longer than planned."""
    if all(site.silent_after_days is None for site in desk.study.study.sites.values()):
        return ()  # the books are not asked
    came = ((record.site, record.received_utc) for record in desk.books.deliveries.all())
    return silent_sites(desk.study.study, came)


def texts_waiting(desk: Desk) -> int:
    """How many texts wait for somebody who looks at them. Only deliveries that hold an undecided one are opened."""
    names = desk.books.texts.holding(OPEN)
    words = {one.word for name in names for one in held_texts.read(desk.depot.result(name))}
    decided = desk.books.texts.decided(words)
    return sum(decided.get(word, OPEN) == OPEN for word in words)


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


def build_pages_stage(desk: Desk, *, anew: bool = False, beside: Beside | None = None) -> None:
    """Write pages and outbox, then note that all is built. anew: also what would say the same as the file there.

    beside: where the outbox is made while pages are written, if there is a process of it.
    """
    from pipelines.pages import write_pages
    from pipelines.pages.facts import read_facts
    from pipelines.pages.outbox import Addresses, Asked, make_outbox, write_outbox

    depot, study, told = desk.depot, desk.study, desk.study.hand_over
    addresses = Addresses(told.sites, told.sender)
    silent = silent_today(desk)
    asked = Asked(depot.outbox, depot.warehouse, study, addresses, packed_with_older(desk), silent, anew)
    made = beside.begin(make_outbox, asked) if beside is not None and beside.is_there else None
    noted = desk.books.files.of(keys.PAGES)
    with desk.books.transaction():
        for place in (keys.PAGES, keys.SAFETY, keys.OUTBOX):
            desk.books.files.drop(place)  # killed from here on, all are hashed the next time
    facts = replace(read_facts(depot.warehouse, study.study), silent=silent, held_texts=texts_waiting(desk))
    write_pages(depot, study, anew=anew, noted=noted, facts=facts, follow_ups=desk.books.follow_ups.of)
    write_outbox(asked, facts, _came(made))
    with desk.books.transaction():
        desk.books.files.put(keys.PAGES, noted)
        _note(desk, keys.OUTBOX, depot.outbox)
        _note(desk, keys.SAFETY, depot.safety)
        desk.books.builds.put(_state(desk))
    desk.books.take_stock()


def _came(made: Callable[[], list[Made]] | None) -> list[Made] | None:
    """What a process beside made; None if there is none, or if it broke: it is made here then, and tells why here."""
    with suppress(RuntimeError):
        return made() if made is not None else None
    return None


def build_safety_stage(desk: Desk) -> None:
    """Write the safety lead's page alone, after a follow-up was noted; warehouse and other pages must be as built."""
    from pipelines.pages import write_safety

    with desk.books.transaction():
        desk.books.files.drop(keys.SAFETY)
    write_safety(desk.depot, desk.study, desk.books.follow_ups.of)
    with desk.books.transaction():
        _note(desk, keys.SAFETY, desk.depot.safety)
        desk.books.builds.put(_state(desk))


def _note(desk: Desk, place: str, store: Store) -> None:
    """Note the files of a place as they were written."""
    desk.books.files.put(place, {name: store.sha256(name) for name in store.below()})


def _state(desk: Desk) -> str:
    results = sorted(desk.books.deliveries.results().items())
    plan = desk.study.plan.sha256 if desk.study.plan is not None else None
    plans = plan, [one.sha256 for one in frozen_plans(desk.books)]
    followed = desk.books.follow_ups.all_words()
    told = desk.study.hand_over.sites, desk.study.hand_over.sender
    today = silent_today(desk), texts_waiting(desk)
    made = results, asdict(desk.stamp), shown_version(), plans, followed, told, today
    return hashlib.sha256(repr(made).encode()).hexdigest()
