"""What a page shows, arranged: counts, grids and lists out of the facts. Nothing here knows HTML."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from checks.causes import causes_first
from pipelines.pages.cautions import caution
from pipelines.pages.check_runs import CheckRun
from pipelines.pages.facts import Delivery, Facts, Finding, Standing
from pipelines.pages.outcomes_shown import Outcome
from pipelines.pages.words import counted, joined

STATUSES = ("pass", "found", "skipped", "crashed")
_DRAWN_PER_CHECK = 3


def count_standings(standings: Iterable[Standing]) -> dict[str, int]:
    """Trials by standing, in the order accepted, returned, withheld."""
    counts = Counter(s.standing for s in standings)
    return {standing: counts[standing] for standing in ("accepted", "returned", "withheld")}


@dataclass(frozen=True)
class DeliveryRow:
    """One delivery with what became of its trials. replaced: trials that a later delivery brought again."""

    delivery: Delivery
    counts: dict[str, int]
    replaced: int


def delivery_rows(facts: Facts, site: str | None = None) -> list[DeliveryRow]:
    """All deliveries, or those of one site, in order of arrival."""
    own: dict[str, list[Standing]] = {}
    for standing in facts.standings:
        own.setdefault(standing.delivery_id, []).append(standing)
    return [
        DeliveryRow(d, count_standings(trials), sum(s.superseded for s in trials))
        for d in facts.deliveries
        if site is None or d.site == site
        for trials in [own.get(d.delivery_id, [])]
    ]


@dataclass(frozen=True)
class Fault:
    """How often one check sent something back. trials: ever returned for it; still_open: of those, not yet mended."""

    check_name: str
    trials: int
    still_open: int
    in_tables: int  # findings that touch no trial
    sites: tuple[str, ...]
    remedy: str


def frequent_faults(facts: Facts, site: str | None = None) -> list[Fault]:
    """Reasons for return, the most frequent first, counted over all deliveries."""
    returned = {(s.delivery_id, s.trial_id): s for s in facts.standings if s.standing == "returned"}
    by_check: dict[str, list[Finding]] = {}
    for finding in facts.findings:
        judged = finding.trial_id is None or (finding.delivery_id, finding.trial_id) in returned
        cause = finding.weight == "returns" and finding.consequence_of is None
        if cause and judged and site in (None, finding.site):
            by_check.setdefault(finding.check_name, []).append(finding)
    faults = [_fault(name, found, returned) for name, found in by_check.items()]
    return sorted(faults, key=lambda fault: (-fault.trials, -fault.in_tables, fault.check_name))


def _fault(name: str, found: list[Finding], returned: dict[tuple[str, str | None], Standing]) -> Fault:
    trials = {f.trial_id for f in found if f.trial_id}
    still = {f.trial_id for f in found if f.trial_id and not returned[f.delivery_id, f.trial_id].superseded}
    remedies = Counter(f.remedy for f in found)
    return Fault(
        check_name=name,
        trials=len(trials),
        still_open=len(still),
        in_tables=sum(f.trial_id is None for f in found),
        sites=tuple(sorted({f.site or "site not known" for f in found})),
        remedy=min(remedies, key=lambda text: (-remedies[text], text)),
    )


@dataclass(frozen=True)
class Tally:
    """How the runs of one check ended. reasons: of those skipped or crashed, the most frequent first."""

    check_name: str
    counts: dict[str, int]
    reasons: tuple[tuple[str, str, int], ...]  # status, reason, times
    crashed_on: tuple[str, ...]


def check_tallies(facts: Facts, site: str | None = None) -> list[Tally]:
    """Every check that ran, with all four statuses; crashed ones first, then by name."""
    by_check: dict[str, list[CheckRun]] = {}
    for run in facts.check_runs:
        if site in (None, run.site):
            by_check.setdefault(run.check_name, []).append(run)
    tallies = []
    for name, runs in by_check.items():
        counts: Counter[str] = Counter()
        reasons: Counter[tuple[str, str]] = Counter()
        for run in runs:
            counts[run.status] += run.times
            if run.status in ("skipped", "crashed"):
                reasons[run.status, run.reason or "no reason given"] += run.times
        ordered = sorted(reasons.items(), key=lambda item: (item[0][0] != "crashed", -item[1], item[0]))
        crashed_on = tuple(subject for run in runs for _, subject in run.crashed_on)
        tallies.append(
            Tally(name, {s: counts[s] for s in STATUSES}, tuple((*key, n) for key, n in ordered), crashed_on)
        )
    return sorted(tallies, key=lambda t: (not t.counts["crashed"], t.check_name))


@dataclass(frozen=True)
class Group:
    """The findings of one check on one fix sheet; those beyond ``drawn`` go into a table."""

    check_name: str
    weight: str
    drawn: tuple[Finding, ...]
    more: tuple[Finding, ...]
    remedies: tuple[str, ...]
    caution: str | None


def groups_of(findings: Iterable[Finding]) -> list[Group]:
    """Findings by check, the weightiest checks first."""
    by_check: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        by_check.setdefault((finding.weight, finding.check_name), []).append(finding)
    return [
        Group(
            name,
            weight,
            tuple(found[:_DRAWN_PER_CHECK]),
            tuple(found[_DRAWN_PER_CHECK:]),
            tuple(dict.fromkeys(f.remedy for f in found)),
            caution(name),
        )
        for (weight, name), found in by_check.items()
    ]


def reason_line(findings: Sequence[Finding]) -> str:
    """Why a trial went back, in one line: its likeliest cause, and how many more there are."""
    own = [f for f in causes_first(findings) if f.weight in ("returns", "stops")]
    if not own:
        return "No finding is recorded; ask the data manager."
    follow = sum(f.consequence_of is not None for f in findings)
    more = f" And {counted(len(own) - 1, 'more finding')}." if len(own) > 1 else ""
    return own[0].seen + more + (f" What follows from it: {counted(follow, 'finding')}." if follow else "")


@dataclass(frozen=True)
class Against:
    """One outcome of one site in one condition against the other sites."""

    outcome: Outcome
    condition: str
    own: float | None
    runners: int
    others: float | None
    other_runners: int

    @property
    def difference(self) -> float | None:
        """Own mean less the others'; None unless both are known."""
        return None if self.own is None or self.others is None else self.own - self.others


def against_others(facts: Facts, site: str) -> list[Against]:
    """The site's mean over runners beside that of all other sites' runners."""
    rows = []
    for outcome in (o for o in facts.shown if o.between_sites):
        for condition in facts.conditions:
            means = [(s, v) for s, c, v in facts.outcomes[outcome.key] if c == condition]
            own, others = [v for s, v in means if s == site], [v for s, v in means if s != site]
            rows.append(Against(outcome, condition, _mean(own), len(own), _mean(others), len(others)))
    return rows


@dataclass(frozen=True)
class Spread:
    """One outcome in one condition at one site: mean and SD over runners."""

    outcome: Outcome
    condition: str
    site: str
    mean: float | None
    sd: float | None
    runners: int


def spreads(facts: Facts, outcome: Outcome) -> list[Spread]:
    """The numbers behind the chart of one outcome."""
    rows = []
    for condition in facts.conditions:
        for site in (s.site for s in facts.sites):
            own = [v for s, c, v in facts.outcomes[outcome.key] if (s, c) == (site, condition)]
            rows.append(
                Spread(outcome, condition, site, _mean(own), statistics.stdev(own) if len(own) > 1 else None, len(own))
            )
    return rows


def _mean(numbers: list[float]) -> float | None:
    return statistics.fmean(numbers) if numbers else None


class Judged(Protocol):
    """What judged a delivery."""

    @property
    def code_version(self) -> str:
        """The version of manystrides."""

    @property
    def study_version(self) -> str:
        """The version of the study file."""


def versions(deliveries: Iterable[Judged]) -> tuple[str, str]:
    """Code and study-file versions that judged the deliveries, for the foot of the page."""
    rows = list(deliveries)
    return (
        joined(list(dict.fromkeys(d.code_version for d in rows))),
        joined(list(dict.fromkeys(d.study_version for d in rows))),
    )
