"""What a data manager decided on single findings: the trial is accepted in spite of one check, for a reason, by name.

A decision belongs to the trial's id, the bytes of its files and the check; a trial that comes again with other bytes is
judged anew. Here decisions are kept in the books and looked up; how one is made is in ``pipelines.deciding.accepting``,
what follows from it in ``pipelines.judging.standings``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from checks.registry import CheckSpec, Subject, Weight
from pipelines.depot.books import knowing
from pipelines.depot.books.rows import Override, Record
from pipelines.depot.desk import Desk

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

#: A check of the tables that leaves the recording and its rows usable as they are.
_ABOUT_A_RESEND = "delivery.resends"


def why_not(spec: CheckSpec) -> str | None:
    """Why findings of a check cannot be set aside, as a clause; None if they can."""
    if spec.weight is Weight.WITHHOLDS:
        return "it keeps out what consent or privacy forbids, which nobody can set aside"
    if spec.weight is Weight.STOPS:
        return "it stops whole deliveries, of which nothing was read"
    if spec.weight is Weight.NOTES:
        return "it only notes; no trial goes back for it"
    if spec.about is Subject.TRIAL or spec.topic == _ABOUT_A_RESEND:
        return None
    return "where it finds something there is no whole row or no readable file, so that nothing can be computed"


def in_force(desk: Desk, site: str | None, files: Mapping[str, Iterable[str]]) -> tuple[Override, ...]:
    """Decisions on trials of one delivery. files: trial id -> checksums of its files, which must be the same."""
    return knowing.in_force(desk.books.decisions.on_trials(files), site, files)


def digest(overrides: Iterable[Override]) -> str:
    """The decisions a delivery was judged with, as one word; empty without any."""
    words = sorted(o.word for o in overrides)
    return hashlib.sha256(repr(words).encode()).hexdigest()[:16] if words else ""


def overrides_changed(desk: Desk) -> list[Record]:
    """Deliveries that were judged with other decisions than those in force."""
    books = desk.books
    decided = {o.trial_id for o in books.decisions.all()}
    names = books.gates.bringing(decided) | {r.delivery_id for r in books.deliveries.with_overrides()}
    held = [r for r in books.deliveries.taken_in(held=True) if r.delivery_id in names] if names else []
    return [r for r in held if digest(in_force(desk, r.site, books.gates.get(r.delivery_id).files)) != r.overrides]


def decide(desk: Desk, override: Override) -> None:
    """Keep a decision, or that it was taken back, and tell the ledger; the trial is not named there."""
    what, about, decision = override.lines()[-1]
    details = {"check": override.check_name, "site": override.site, "by": decision.by}
    with desk.books.transaction():
        desk.books.decisions.put(override)
        desk.ledger.decided(what, about, decision.why, **details)


def forget_gone(books: Books) -> None:
    """Drop decisions on trials no delivery shows any more, as after a withdrawal; the ledger keeps their words."""
    with books.transaction():
        for override in books.decisions.all():
            if all(version.site != override.site for version in books.trials.versions(override.trial_id)):
                books.decisions.drop(override.word)
