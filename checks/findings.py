"""What checks say: findings, how each check ended, and both together as a report.

Plain frozen values whose fields are the columns of ``schemas.quality.FINDINGS`` and ``CHECK_RUNS``; ``rows_of`` is the
one place that turns them into rows of a table. Who makes them is ``checks.run``.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from checks.evidence import Picture
from checks.registry import Weight


class Status(StrEnum):
    """How a check ended; meanings are in ``schemas.codes.CHECK_STATUS``."""

    PASS = "pass"
    FOUND = "found"
    SKIPPED = "skipped"
    CRASHED = "crashed"


@dataclass(frozen=True)
class Stamp:
    """Versions written into every row."""

    code_version: str
    study_version: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a check saw. Each field but ``spans`` and ``shows`` is the column of ``findings`` of the same name."""

    finding_id: str
    delivery_id: str
    site: str | None
    trial_id: str | None
    check_name: str
    weight: Weight
    file: str | None
    place: str | None
    seen: str
    expected: str
    remedy: str
    moment_s: float | None
    signal: str | None
    code_version: str
    study_version: str
    #: Where in its sentences words stand that the check saw: sentence, first letter, end. None: anywhere.
    spans: tuple[tuple[str, int, int], ...] | None = field(default=None, repr=False, compare=False)
    #: What proves it, until it is a table of its own: ``pipelines.judging.pictures``.
    shows: Picture | None = field(default=None, repr=False, compare=False)
    consequence_of: str | None = None  # told by ``checks.causes`` when all findings of a trial are there


@dataclass(frozen=True, slots=True)
class CheckRun:
    """How one check ended on one subject; fields as the columns of ``check_runs``."""

    delivery_id: str
    check_name: str
    subject: str
    status: Status
    reason: str | None
    rows_examined: int
    finding_count: int
    code_version: str
    study_version: str


@dataclass
class Report:
    """What came of checks; evidence: check name and answer to an expectation of a whole site."""

    findings: list[Finding] = field(default_factory=list)
    runs: list[CheckRun] = field(default_factory=list)
    evidence: list[tuple[str, Any]] = field(default_factory=list)

    def add(self, other: Report) -> None:
        """Append what another report holds."""
        self.findings += other.findings
        self.runs += other.runs
        self.evidence += other.evidence


def rows_of(items: Iterable[Finding | CheckRun]) -> list[dict[str, object]]:
    """Rows of ``findings`` or ``check_runs``: column name -> value, words as plain text."""
    return [
        {
            f.name: str(value) if isinstance(value := getattr(item, f.name), StrEnum) else value
            for f in dataclasses.fields(item)
            if f.name not in ("spans", "shows")
        }
        for item in items
    ]
