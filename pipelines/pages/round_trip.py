"""The way of a trial that went back: sent, returned for what, sent again when, accepted or still open. Nothing of HTML.

Times are those at which the depot took deliveries in. How long something is open is counted where a page is looked at,
to that day; here stands since when, so that the same warehouse always gives the same pages.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schemas.moments import moment_of

if TYPE_CHECKING:
    from pipelines.pages.facts import Facts, Standing


@dataclass(frozen=True)
class Leg:
    """One time a trial came. returned_for: checks, if it went back; reason: why it was sent again, if that is said."""

    delivery_id: str
    received_utc: str
    standing: str
    returned_for: tuple[str, ...] = ()
    reason: str | None = None
    by_override: bool = False


@dataclass(frozen=True)
class RoundTrip:
    """One trial that went back at least once, with every time it came, in order of delivery."""

    trial_id: str
    site: str
    legs: tuple[Leg, ...]
    participant_id: str | None = None
    visit: str | None = None

    @property
    def returned_for(self) -> tuple[str, ...]:
        """Every check that it went back for, each once."""
        return tuple(dict.fromkeys(name for leg in self.legs for name in leg.returned_for))

    @property
    def went_back(self) -> Leg:
        """The first time it went back."""
        return next(leg for leg in self.legs if leg.standing == "returned")

    @property
    def last(self) -> Leg:
        """The newest version."""
        return self.legs[-1]

    @property
    def is_open(self) -> bool:
        """Whether the laboratory has still to send it again."""
        return self.last.standing == "returned"

    @property
    def open_since(self) -> Leg | None:
        """The first of the returns since it was last accepted; None if it is not open."""
        since: Leg | None = None
        for leg in self.legs:
            since = (since or leg) if leg.standing == "returned" else None
        return since

    @property
    def sent_again(self) -> tuple[Leg, ...]:
        """Every time it came after it first went back."""
        return self.legs[self.legs.index(self.went_back) + 1 :]

    @property
    def still_in_force(self) -> Leg | None:
        """The accepted version that stays in the pool while the newest is open; None if there is none."""
        if not self.is_open:
            return None
        return next((leg for leg in reversed(self.legs) if leg.standing == "accepted"), None)

    @property
    def days_to_mend(self) -> float | None:
        """Days from the first return to the first acceptance after it; None as long as it was not accepted."""
        mended = next((leg for leg in self.sent_again if leg.standing == "accepted"), None)
        return days_between(self.went_back.received_utc, mended.received_utc) if mended else None


def round_trips(facts: Facts, site: str | None = None) -> list[RoundTrip]:
    """Every trial that went back once, of one site or of all, the open ones and then the oldest first.

    Not in it: withheld trials, and those whose newest version came again in one that cannot be shown.
    """
    return [trip for trip in facts.round_trips if site in (None, trip.site)]


def all_round_trips(facts: Facts) -> list[RoundTrip]:
    """The same of all sites, worked out anew."""
    deliveries = {d.delivery_id: d for d in facts.deliveries}
    versions: dict[tuple[str, str], list[Standing]] = {}
    for standing in facts.standings:
        if standing.trial_id is not None:
            versions.setdefault((standing.site, standing.trial_id), []).append(standing)
    found = []
    for (of_site, trial), own in versions.items():
        if any(s.standing == "returned" for s in own):
            own.sort(key=lambda s: (deliveries[s.delivery_id].delivery_number or 0, s.delivery_id))
            if own[-1].superseded:
                continue
            legs = tuple(_leg(facts, s, deliveries[s.delivery_id].received_utc) for s in own)
            found.append(RoundTrip(trial, of_site, legs, own[-1].participant_id, own[-1].visit))
    return sorted(found, key=lambda t: (not t.is_open, t.went_back.received_utc, t.site, t.trial_id))


def _leg(facts: Facts, standing: Standing, received_utc: str) -> Leg:
    findings = facts.findings_on.get((standing.delivery_id, standing.trial_id), ())
    checks = dict.fromkeys(f.check_name for f in findings if f.weight == "returns")
    returned_for = tuple(checks) if standing.standing == "returned" else ()
    by = standing.accepted_by_override
    return Leg(standing.delivery_id, received_utc, standing.standing, returned_for, standing.resend_reason, by)


@dataclass(frozen=True)
class OpenReturns:
    """What one site has still to send again. usual_days: median time to mend so far."""

    site: str
    count: int
    oldest: RoundTrip | None
    mended: int
    usual_days: float | None


def open_returns(facts: Facts, sites: Iterable[str]) -> list[OpenReturns]:
    """Open and mended returns of each site."""
    every = round_trips(facts)
    rows = []
    for site in sites:
        own = [t for t in every if t.site == site]
        waiting = sorted((t for t in own if t.is_open), key=_since)
        oldest = waiting[0] if waiting else None
        mended = [days for t in own if (days := t.days_to_mend) is not None]
        usual = statistics.median(mended) if mended else None
        rows.append(OpenReturns(site, len(waiting), oldest, len(mended), usual))
    return rows


def _since(trip: RoundTrip) -> str:
    return trip.open_since.received_utc if trip.open_since else ""


def days_between(earlier: str, later: str) -> float | None:
    """Days between two ISO times in UTC, never less than 0; None if one cannot be read."""
    one, other = moment_of(earlier), moment_of(later)
    return None if one is None or other is None else max(0.0, (other - one).total_seconds() / 86400)
