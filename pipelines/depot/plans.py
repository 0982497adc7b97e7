"""Analysis plans that were frozen: lines of the ledger, so that nobody can freeze one later than it says.

What a plan may say is in ``schemas.plan``; that it is frozen by a person is in ``pipelines.deciding.freezing``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.depot.ledger import Wanted

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

ABOUT, WHAT = "analysis plan", "frozen"


@dataclass(frozen=True)
class Frozen:
    """One plan as it was frozen. trials: that were accepted already then; settings: what it says."""

    sha256: str
    version: str
    utc: str
    trials: int
    settings: dict[str, Any]


def frozen_plans(books: Books) -> tuple[Frozen, ...]:
    """Every time that a plan was frozen, the oldest first."""
    entries = [entry for entry in books.ledger.entries(Wanted(about=ABOUT)) if entry.what == WHAT]
    return tuple(
        Frozen(
            entry.details["plan_sha256"],
            entry.details["plan_version"],
            entry.utc,
            entry.details["accepted_trials"],
            entry.details["settings"],
        )
        for entry in entries
    )
