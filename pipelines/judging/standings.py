"""What becomes of each trial of a delivery: only here is it decided. Pure; nothing is read or written.

The rows that follow from it are in ``pipelines.judging.delivery_tables``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from checks.causes import with_causes
from checks.findings import CheckRun, Finding, Report, Stamp, Status
from checks.registry import Weight
from pipelines.consent.held_texts import HeldTexts
from pipelines.consent.veil import Veil, veil_of
from pipelines.depot.books.rows import Override
from pipelines.judging.judge import Verdict
from schemas.consent import Consent
from schemas.received import Received

if TYPE_CHECKING:
    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key

ACCEPTED, RETURNED, WITHHELD = "accepted", "returned", "withheld"


@dataclass(frozen=True)
class Judged:
    """All that was seen in one delivery. consent: over its rows and files; shas: trial -> raw sha256.

    waiting: session and condition of running trials that were judged without a standing posture. unread: trials whose
    reading did not come to its end, so that nobody looked for identifying texts in their files. unagreed: trials whose
    files hold, or may hold, signals that their runner did not agree to. overrides: what a data
    manager decided on trials of the delivery. stamps: trial -> what it was judged with (``pipelines.judging.stamps``).
    held: texts that nobody has looked at.
    references: reference recording -> what it gives to divide muscle amplitudes by.
    """

    delivery_id: str
    site: str
    stamp: Stamp
    consent: Consent
    report: Report
    verdicts: Mapping[str, Verdict]
    shas: Mapping[str, str]
    waiting: tuple[tuple[str, str], ...] = ()
    unread: frozenset[str] = frozenset()
    unagreed: frozenset[str] = frozenset()
    overrides: tuple[Override, ...] = ()
    stamps: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    held: HeldTexts = field(default_factory=HeldTexts)
    references: Mapping[str, Mapping[Key, Reference]] = field(default_factory=dict)

    @property
    def received(self) -> Received:
        """The delivery as it came."""
        return self.consent.received

    @property
    def withheld(self) -> frozenset[str]:
        """Trials of which nothing may be used."""
        return self.consent.withheld

    @property
    def rows(self) -> Mapping[str, Mapping[str, Any]]:
        """What the tables say about each trial."""
        return self.consent.trials

    @property
    def provenance(self) -> dict[str, Any]:
        """What every row of the delivery says about its making, without the checksum."""
        return {"delivery_id": self.delivery_id, **vars(self.stamp)}

    @cached_property
    def veil(self) -> Veil:
        """What of the delivery may not be shown."""
        return veil_of(self.delivery_id, self.consent, marks=self.held.marks)

    @property
    def runs(self) -> list[CheckRun]:
        """How every check of the delivery and of its trials ended."""
        return self.report.runs + [run for verdict in self.verdicts.values() for run in verdict.runs]

    def is_set_aside(self, finding: Finding) -> bool:
        """Whether a data manager set a finding aside; never one that only says that the check crashed."""
        trial, name = finding.trial_id, finding.check_name
        own = {o.check_name for o in self.overrides if o.trial_id == trial}
        if name not in own:
            return False
        runs = [*self.report.runs, *(self.verdicts[trial].runs if trial is not None and trial in self.verdicts else ())]
        return not any(r.check_name == name and r.status is Status.CRASHED for r in runs)


def findings_of(judged: Judged) -> list[Finding]:
    """Every finding once, with the one it follows from. Of a withheld trial only that it is withheld, under another
    name.
    """
    shown = judged.veil.findings(judged.report.findings + [f for v in judged.verdicts.values() for f in v.findings])
    return with_causes(shown, {(r.subject, r.check_name) for r in judged.runs if r.status is Status.CRASHED})


def is_accepted(trial_id: str, judged: Judged) -> bool:
    """Whether a trial is accepted, told from its findings as they are: how they are shown, and why, changes nothing."""
    verdict = judged.verdicts.get(trial_id)
    found = [*judged.report.findings, *(verdict.findings if verdict is not None else ())]
    return standing_of(trial_id, judged, found) == ACCEPTED


def standing_of(trial_id: str, judged: Judged, findings: Iterable[Finding]) -> str:
    """What becomes of a trial: withheld before returned before accepted; what was not read is never accepted."""
    if trial_id in judged.withheld:
        return WITHHELD
    verdict = judged.verdicts.get(trial_id)
    if verdict is None or verdict.reading.problem is not None:
        return RETURNED
    faulty = any(not judged.is_set_aside(f) for f in returning(trial_id, findings))
    return RETURNED if faulty else ACCEPTED


def returning(trial_id: str, findings: Iterable[Finding]) -> list[Finding]:
    """The findings for which a trial goes back."""
    return [f for f in findings if f.trial_id == trial_id and f.weight is Weight.RETURNS]
