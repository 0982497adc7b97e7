"""One page per check: what it asks and why, what it found where and when, how well it was measured to find its fault.

Nothing here knows HTML. Which trials are named follows ``facts``, where withheld ones are dropped.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from checks.detected import Measured, measured
from checks.registry import CheckSpec, catalogue
from pipelines.pages.digest import digest_of
from pipelines.pages.further import STAY
from pipelines.pages.view import Tally, check_tallies

if TYPE_CHECKING:
    from pipelines.pages.facts import Facts, Finding
    from schemas.study import Study


@dataclass(frozen=True)
class InForce:
    """One limit of a check. value: of the study; own: laboratory -> the value it has instead. unit: UCUM."""

    name: str
    value: float
    unit: str
    source: str
    own: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class AtSite:
    """What a check found at one laboratory. trials: ever; still_open: returned trials that are not settled yet."""

    site: str
    findings: int
    trials: int
    still_open: int


@dataclass(frozen=True)
class CheckPage:
    """One check. months: (YYYY-MM, findings) by when deliveries came; waiting: its findings on trials still open,
    of which ``total`` are there. known: by today's catalogue, None if the check is no longer there.
    """

    name: str
    known: CheckSpec | None
    tally: Tally
    limits: tuple[InForce, ...]
    sites: tuple[AtSite, ...]
    months: tuple[tuple[str, int], ...]
    waiting: tuple[Finding, ...]
    total: int
    measured: Measured

    def made_from(self, *look: object) -> str:
        """The hash of everything on the page. look: what it is shown with."""
        words = self.known and (self.known.sentence, self.known.why, self.known.weight, self.known.expected)
        found = self.sites, self.months, self.waiting, self.total
        return digest_of(self.name, words, self.tally, self.limits, found, self.measured, look)


def check_pages(facts: Facts, study: Study) -> Iterator[CheckPage]:
    """The page of every check that has run, by name."""
    found: dict[str, list[Finding]] = {}
    for finding in facts.findings:
        found.setdefault(finding.check_name, []).append(finding)
    still_open = {(s.delivery_id, s.trial_id) for s in facts.returned}
    came = {d.delivery_id: d.received_utc[:7] for d in facts.deliveries}
    known = catalogue()
    for tally in sorted(check_tallies(facts), key=lambda t: t.check_name):
        name, own = tally.check_name, found.get(tally.check_name, [])
        waiting = [f for f in own if (f.delivery_id, f.trial_id) in still_open]
        yield CheckPage(
            name,
            known.get(name),
            tally,
            tuple(_limits(known.get(name), study)),
            tuple(_at_sites(own, still_open)),
            tuple(sorted(Counter(came[f.delivery_id] for f in own if f.delivery_id in came).items())),
            tuple(waiting[:STAY]),
            len(waiting),
            measured(name),
        )


def _limits(spec: CheckSpec | None, study: Study) -> Iterator[InForce]:
    if spec is None:
        return
    general = {**spec.defaults, **study.limits_of(spec.name, None)}
    at = {site: study.limits_of(spec.name, site) for site in study.sites}
    for name, limit in spec.limits.items():
        value = general[name]
        own = tuple((site, its[name]) for site, its in at.items() if its.get(name, value) != value)
        source = limit.source if value == spec.defaults[name] else "the study file"
        yield InForce(name.replace("_", " "), value, limit.unit, source, own)


def _at_sites(found: list[Finding], still_open: set[tuple[str, str | None]]) -> Iterator[AtSite]:
    by_site: dict[str, list[Finding]] = {}
    for finding in found:
        by_site.setdefault(finding.site or "site not known", []).append(finding)
    for site, own in sorted(by_site.items()):
        trials = {f.trial_id for f in own if f.trial_id}
        waiting = {f.trial_id for f in own if f.trial_id and (f.delivery_id, f.trial_id) in still_open}
        yield AtSite(site, len(own), len(trials), len(waiting))
