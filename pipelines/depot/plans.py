"""Analysis plans that were frozen: lines of the ledger, so that nobody can freeze one later than it says.

What a plan may say is in ``schemas.plan``; that it is frozen by a person is in ``pipelines.deciding.freezing``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipelines.depot.ledger import Wanted
from schemas.plan import Plan

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books
    from pipelines.study.plan import LoadedPlan

ABOUT, WHAT = "analysis plan", "frozen"


@dataclass(frozen=True)
class Frozen:
    """One plan as it was frozen. trials: that were accepted already then; settings: what it says,
    references filled in as the study file had them."""

    sha256: str
    version: str
    utc: str
    trials: int
    settings: dict[str, Any]

    def is_plan(self, loaded: LoadedPlan | None) -> bool:
        """Whether a plan is this one: the same file, that means the same with the study file beside it."""
        return loaded is not None and loaded.sha256 == self.sha256 and loaded.settings == _of_today(self.settings)


def _of_today(settings: dict[str, Any]) -> dict[str, Any]:
    """What an older manystrides froze, with the settings that a plan has today at their defaults."""
    try:
        return Plan.model_validate(settings).model_dump(mode="json")
    except ValidationError:
        return settings


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
