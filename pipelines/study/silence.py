"""Which sites have sent nothing for longer than the study file plans, by ``silent_after_days`` of each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from schemas.moments import moment_of

if TYPE_CHECKING:
    from schemas.study import Study


@dataclass(frozen=True)
class Silent:
    """A site that is silent. since: the day its newest delivery came; planned_days: as in the study file."""

    site: str
    since: date
    planned_days: int

    @property
    def told(self) -> str:
        """In a sentence that stays true from day to day."""
        return (
            f"Nothing has come from {self.site} since {self.since.isoformat()}, though the study expects something of "
            f"it at least every {self.planned_days} days."
        )


def silent_sites(
    study: Study, came: Iterable[tuple[str | None, str]], now: datetime | None = None
) -> tuple[Silent, ...]:
    """The sites that are silent ``now`` (left out, at this moment), in the order of the study file.

    came: site and time of receipt (ISO 8601) of every delivery, whatever became of it. A site that has never sent
    anything is not silent: nobody knows when it begins. A time that cannot be read counts as none.
    """
    now = now or datetime.now(UTC)
    newest: dict[str, datetime] = {}
    for sender, utc in came:
        if sender is not None and (moment := moment_of(utc)) is not None:
            newest[sender] = max(moment, newest.get(sender, moment))
    found = []
    for name, site in study.sites.items():
        days = site.silent_after_days
        if days is not None and name in newest and now - newest[name] > timedelta(days=days):
            found.append(Silent(name, newest[name].date(), days))
    return tuple(found)
