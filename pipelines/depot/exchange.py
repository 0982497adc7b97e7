"""How a delivery's result takes the place of an older one, and how folders become again what the books say.

A result counts once the books say so, never before (``pipelines.depot.books``). An older one waits in ``work/`` under
the word of its result until then, or where there was none, an object that says so.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable

#: In the name of an older result that waits in ``work/``, between the delivery and the word of the result.
REPLACED = ".replaced."
_NOTHING = "nothing"
_MOST_NAMED = 5


def publish(depot: Depot, work: Path, delivery_id: str, decide: Callable[[], None]) -> None:
    """Make the finished folder ``work`` the result of ``delivery_id``, in place of an older one.

    decide: writes the result into the books, in one transaction; if it fails, the older result is put back.
    """
    _exchange(depot, delivery_id, work, decide)


def withdraw(depot: Depot, delivery_id: str, decide: Callable[[], None]) -> None:
    """Remove the result of a delivery. decide: takes it out of the books, in one transaction."""
    _exchange(depot, delivery_id, None, decide)


def mend(depot: Depot) -> list[str]:
    """Make the folders what the books say; returns the deliveries of which an exchange was undone.

    Raises Unusable if a folder is missing, or is there and the books do not know it, and no kill explains that.
    """
    undone = undo_exchanges(depot)
    _refuse_differing(depot, set(depot.books.deliveries.results()), set(depot.delivery_ids()))
    return undone


def undo_exchanges(depot: Depot, *, clear: bool = True) -> list[str]:
    """Put back what a kill left half exchanged, and clear ``work/``; returns the deliveries concerned.

    clear: else what counts for nothing stays there, as long as the depot is only looked at.
    """
    undone, results = [], depot.books.deliveries.results()
    for name in depot.store.names(keys.WORK):
        delivery_id, replaced, word = name.rpartition(REPLACED)
        if replaced and results.get(delivery_id, "") == word:
            _put_back(depot, f"{keys.WORK}/{name}", keys.result(delivery_id))
            undone.append(delivery_id)
    for name in depot.store.names(keys.WORK) if clear else ():
        _clear(depot, f"{keys.WORK}/{name}")
    return undone


def _exchange(depot: Depot, delivery_id: str, new: Path | None, decide: Callable[[], None]) -> None:
    store, target = depot.store, keys.result(delivery_id)
    before = depot.books.deliveries.get(delivery_id)
    old = f"{keys.WORK}/{delivery_id}{REPLACED}{before.result if before else ''}"
    store.shut(keys.WORK)
    if store.is_there(target):
        store.move(target, old)
    else:
        store.put(f"{old}/{_NOTHING}", b"")
    try:
        if new is not None:
            store.bring(new, target)
        decide()
    except Exception:
        _put_back(depot, old, target)
        raise
    _clear(depot, old)


def _put_back(depot: Depot, old: str, target: str) -> None:
    """Undo an exchange that the books do not know."""
    store = depot.store
    if store.is_there(target):
        store.move(target, f"{keys.WORK}/undone.{secrets.token_hex(4)}")
    if store.names(old) not in ([], [_NOTHING]):  # an empty folder: an older manystrides said so that there was none
        store.move(old, target)


def _clear(depot: Depot, rest: str) -> None:
    with suppress(OSError):  # it counts for nothing; the next writer tries again
        depot.store.remove(rest)


def _refuse_differing(depot: Depot, in_books: set[str], folders: set[str]) -> None:
    """Raises Unusable unless there is one folder for each delivery in the books."""
    for names, seen in (
        (in_books - folders, "The results of deliveries that the books name are missing: "),
        (folders - in_books, "There are results of deliveries that the books do not name: "),
    ):
        if names:
            more = " and others" if len(names) > _MOST_NAMED else ""
            raise Unusable(
                f"{seen}{', '.join(sorted(names)[:_MOST_NAMED])}{more}.",
                "one folder for each delivery in the books.",
                "Run manystrides verify; with --repair it judges again what is missing. Move away what nobody knows.",
                file=depot.store.shown(keys.DELIVERIES),
            )
