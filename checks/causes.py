"""Which finding of a trial is a cause and which follow from it: one judgement per trial, over its findings.

What follows from what stands in ``checks.what_follows``. Findings are never taken away, and what becomes of a trial
does not depend on this.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Protocol, TypeVar

from checks.cause import Cause
from checks.findings import Finding
from checks.registry import Weight, catalogue
from checks.what_follows import CAUSES

#: Parts of a place that say when, and not where.
_WHEN = re.compile(r"(?:from |at |in )?(?:frames?|lines?|footfalls?) \d.*|\d[\d.]* m?s\b.*")


def with_causes(findings: Iterable[Finding], crashed: Collection[tuple[str | None, str]] = ()) -> list[Finding]:
    """The same findings in the same order; those that follow from another of their trial say from which.

    crashed: (trial, check) of checks that failed themselves; what they say is nobody's cause and follows from nothing.
    """
    told = list(findings)
    by_trial: dict[str, list[int]] = {}
    for at, finding in enumerate(told):
        if finding.trial_id is not None and (finding.trial_id, finding.check_name) not in crashed:
            by_trial.setdefault(finding.trial_id, []).append(at)
    for places in by_trial.values():
        if len(places) > 1:
            for at, cause in _followed([told[i] for i in places]):
                told[places[at]] = replace(told[places[at]], consequence_of=cause)
    return told


class Judged(Protocol):
    """A finding that was judged, in whatever form it is held."""

    @property
    def finding_id(self) -> str:
        """Its id."""
        ...

    @property
    def check_name(self) -> str:
        """The check that found it."""
        ...

    @property
    def weight(self) -> str:
        """Its weight, as a word."""
        ...

    @property
    def consequence_of(self) -> str | None:
        """The finding that it follows from."""
        ...


F = TypeVar("F", bound=Judged)


def causes_first(findings: Iterable[F]) -> list[F]:
    """The causes among findings of one trial: what sends it back first, and of that what explains most."""
    told = list(findings)
    explained = Counter(f.consequence_of for f in told)
    order = {cause.check_name: i for i, cause in enumerate(CAUSES)}
    of_check = Counter[str]()
    for finding in told:
        of_check[finding.check_name] += explained[finding.finding_id]

    def rank(finding: F) -> tuple[bool, int, int]:
        name = finding.check_name
        return finding.weight == Weight.NOTES, -of_check[name], order.get(name, len(order))

    return sorted((f for f in told if f.consequence_of is None), key=rank)


def _followed(findings: Sequence[Finding]) -> Iterator[tuple[int, str]]:
    """Positions of findings of one trial that follow from another, each with the id of its cause."""
    specs = catalogue()
    rank = {cause.check_name: i for i, cause in enumerate(CAUSES)}
    cause_of: dict[int, int] = {}
    for number, cause in enumerate(CAUSES):
        own = [at for at, f in enumerate(findings) if f.check_name == cause.check_name]
        for at, finding in enumerate(findings if own else ()):
            spec = specs.get(finding.check_name)
            if at in cause_of or spec is None or finding.check_name == cause.check_name or not cause.covers(spec):
                continue
            by = _explaining(cause, own, findings, finding)
            earlier = rank.get(finding.check_name, len(CAUSES)) < number
            if by is not None and (not earlier or _lighter(finding, findings[by])):
                cause_of[at] = by
    for at, first in cause_of.items():
        while first in cause_of:
            first = cause_of[first]
        yield at, findings[first].finding_id


def _lighter(one: Finding, other: Finding) -> bool:
    """Whether one is only noted and the other not: then its check saw less of the fault, whatever stands first."""
    return one.weight is Weight.NOTES and other.weight is not Weight.NOTES


def _explaining(cause: Cause, own: Sequence[int], findings: Sequence[Finding], of: Finding) -> int | None:
    """Which finding of a cause explains another; a note never explains why a trial goes back."""
    for at in own:
        light = _lighter(findings[at], of)
        here, other = _where(findings[at]), _where(of)
        if not light and not _elsewhere(here, other) and (not cause.there or here & other):
            return at
    return None


def _elsewhere(here: set[str], other: set[str]) -> bool:
    """Whether both are about force plates, and about different ones."""
    plates = [{part for part in parts if re.fullmatch(r"plate \d+", part)} for parts in (here, other)]
    return all(plates) and not plates[0] & plates[1]


def _where(finding: Finding) -> set[str]:
    """The markers, plates or channels that a finding is about."""
    parts = re.split(r", | to | and ", finding.place or "")
    return {part.strip() for part in parts if part and not _WHEN.fullmatch(part.strip())}
