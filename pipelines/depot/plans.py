"""Analysis plans that were frozen: lines of the ledger, so that nobody can freeze one later than it says.

What a plan may say is in ``schemas.plan``; that it is frozen by a person is in ``pipelines.deciding.freezing``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipelines.depot.ledger import Wanted
from schemas.plan import STUDY_FILE, Plan
from schemas.processing import Processing

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books
    from pipelines.study.plan import LoadedPlan

ABOUT, WHAT = "analysis plan", "frozen"


@dataclass(frozen=True)
class Frozen:
    """One plan as it was frozen. trials: that were accepted already then; settings: what it says and rests on,
    references filled in as the study file had them."""

    sha256: str
    version: str
    utc: str
    trials: int
    settings: dict[str, Any]

    def is_plan(self, loaded: LoadedPlan | None) -> bool:
        """Whether a plan is this one: the same file, that means the same with the study file beside it."""
        return loaded is not None and loaded.sha256 == self.sha256 and not self.changed(loaded)

    def changed(self, loaded: LoadedPlan) -> list[str]:
        """What a plan means otherwise than this one, by the places of its settings.

        Of a plan that an older manystrides froze without all that it rests on, the rest is not known and not compared.
        """
        was, now = _of_today(self.settings), loaded.settings
        if STUDY_FILE not in was:
            now = {name: value for name, value in now.items() if name != STUDY_FILE}
        elif STUDY_FILE in now:
            now = now | {STUDY_FILE: {name: now[STUDY_FILE].get(name) for name in was[STUDY_FILE]}}
        return list(_differing(was, now))


def _differing(was: Any, now: Any, place: str = "") -> Iterator[str]:
    """Places at which two settings differ."""
    if not (isinstance(was, dict) and isinstance(now, dict)):
        if was != now:
            yield place
        return
    for name in sorted(was.keys() | now.keys()):
        yield from _differing(was.get(name), now.get(name), f"{place}.{name}" if place else name)


def _of_today(settings: dict[str, Any]) -> dict[str, Any]:
    """What an older manystrides froze, with the settings that plan and processing have today at their defaults."""
    said = {name: value for name, value in settings.items() if name != STUDY_FILE}
    rests_on = settings.get(STUDY_FILE)
    try:
        plan = Plan.model_validate(said).model_dump(mode="json")
        if rests_on is None:
            return plan
        processing = Processing.model_validate(rests_on["processing"]).model_dump(mode="json")
    except ValidationError:
        return settings
    return plan | {STUDY_FILE: rests_on | {"processing": processing}}


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
