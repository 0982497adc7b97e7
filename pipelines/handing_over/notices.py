"""What may be told of a run: the study, a site, ids of its deliveries, how each ended, counts. No runner, no trial.

A delivery goes by site and number alone, since its folder may be named after anybody.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from pipelines.depot.books.rows import REPEAT, Record, TrialVersion

_STANDINGS = ("accepted", "returned", "withheld")


@dataclass(frozen=True)
class OfDelivery:
    """One delivery. delivery: site and number, or the site alone if it came without one."""

    delivery: str
    status: str
    accepted: int
    returned: int
    withheld: int


@dataclass(frozen=True)
class Notice:
    """What is told of one site."""

    study: str
    site: str
    deliveries: tuple[OfDelivery, ...]

    def plain(self) -> dict[str, Any]:
        """As values that JSON can hold."""
        return {**asdict(self), "deliveries": [asdict(one) for one in self.deliveries]}

    def text(self) -> str:
        """For people."""
        lines = [
            f"{one.delivery}: {one.status.replace('_', ' ')}; {one.accepted} accepted, {one.returned} returned, "
            f"{one.withheld} withheld"
            for one in self.deliveries
        ]
        return "\n".join([f"{self.study}: news of {self.site}. Its letter lies in the depot's outbox.", "", *lines, ""])


def is_told(record: Record) -> bool:
    """Whether anything is told of a delivery: of a repeat, and of one whose site nobody knows, nothing is."""
    return record.site is not None and record.status != REPEAT


def of_delivery(record: Record, trials: Iterable[TrialVersion]) -> OfDelivery:
    """What is told of one delivery."""
    counts = Counter(trial.standing for trial in trials)
    name = str(record.site) if record.number is None else f"{record.site}-{record.number:03d}"
    return OfDelivery(name, record.status, *(counts[word] for word in _STANDINGS))
