"""How a delivery's result takes the place of an older one, and how folders become again what the books say.

A result counts once the books say so, never before (``pipelines.depot.books``). An older folder waits in ``work/``
under the word of its result until then.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipelines.depot.modes import only_for_the_owner
from pipelines.depot.storage import Depot, remove_folder, sync_folder, to_disk
from pipelines.errors import Unusable

_REPLACED = ".replaced."
_MOST_NAMED = 5


def publish(depot: Depot, work: Path, delivery_id: str, decide: Callable[[], None]) -> None:
    """Make the finished folder ``work`` the result of ``delivery_id``, in place of an older one.

    decide: writes the result into the books, in one transaction; if it fails, the older result is put back.
    """
    sync_folder(work)
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


def undo_exchanges(depot: Depot) -> list[str]:
    """Put back what a kill left half exchanged, and clear ``work/``; returns the deliveries concerned."""
    undone, results = [], depot.books.deliveries.results()
    for rest in _rests(depot):
        delivery_id, replaced, word = rest.name.rpartition(_REPLACED)
        if replaced and results.get(delivery_id, "") == word:
            _put_back(depot, rest, depot.delivery_path(delivery_id))
            undone.append(delivery_id)
    for rest in _rests(depot):
        remove_folder(rest)
    return undone


def _rests(depot: Depot) -> list[Path]:
    return sorted(depot.work.iterdir()) if depot.work.is_dir() else []


def _exchange(depot: Depot, delivery_id: str, new: Path | None, decide: Callable[[], None]) -> None:
    target, before = depot.delivery_path(delivery_id), depot.books.deliveries.get(delivery_id)
    old = depot.work / f"{delivery_id}{_REPLACED}{before.result if before else ''}"
    target.parent.mkdir(parents=True, exist_ok=True)
    only_for_the_owner(depot.work)
    target.rename(old) if target.exists() else old.mkdir()
    to_disk(depot.work)
    try:
        if new is not None:
            new.rename(target)
        to_disk(target.parent)
        decide()
    except Exception:
        _put_back(depot, old, target)
        raise
    remove_folder(old)


def _put_back(depot: Depot, old: Path, target: Path) -> None:
    """Undo an exchange that the books do not know."""
    if target.exists():
        target.rename(depot.new_work("undone") / target.name)
    if any(old.iterdir()):
        old.rename(target)
    to_disk(target.parent)


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
                file=depot.deliveries,
            )
