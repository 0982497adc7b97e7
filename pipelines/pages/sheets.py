"""Fix sheets: what each says, as plain values, and a hash of these: one that says the same is not made again.

A sheet is made from its values alone, never from the facts of the whole study, so that the hash cannot miss anything.
It stands in the sheet itself: a file and its hash are never of two builds. Nothing here knows HTML.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from checks.causes import causes_first
from pipelines.pages import view
from pipelines.pages.cautions import RECORDING_AGAIN
from pipelines.pages.digest import digest_of
from pipelines.pages.facts import Delivery, Facts, Finding, Standing

if TYPE_CHECKING:
    from pipelines.depot.store import Store

_MADE_FROM = re.compile(rb'<meta name="made-from" content="([0-9a-f]{64})">')
_HEAD_BYTES = 400


@dataclass(frozen=True)
class Sheet:
    """One fix sheet. values: all that its template is given but drawings; site: whose page it leads to.

    drawn: findings that are shown with their picture, if there is one. pictures: digests of these.
    """

    name: str
    template: str
    site: str | None
    values: dict[str, Any]
    drawn: tuple[Finding, ...] = ()
    pictures: tuple[tuple[str, str], ...] = ()

    @property
    def checks(self) -> list[str]:
        """The checks whose findings are on it, in order."""
        groups = (group for key in ("groups", "others", "notes") for group in self.values.get(key, ()))
        return sorted({group.check_name for group in groups})

    def made_from(self, *look: object) -> str:
        """The hash of everything on the sheet. look: what it is shown with: code, style, words of the study."""
        return digest_of(self.name, self.template, self.site, self.values, self.pictures, look)


def made_from(pages: Store, name: str) -> str | None:
    """The hash that stands in a page; None if there is no page, or none in it."""
    try:
        with pages.open(name) as stream:
            return told_in(stream.read(_HEAD_BYTES))
    except OSError:
        return None


def told_in(page: bytes) -> str | None:
    """The hash that stands in the bytes of a page; None if there is none."""
    found = _MADE_FROM.search(page[:_HEAD_BYTES])
    return found[1].decode() if found else None


def sheets(facts: Facts, names: dict[tuple[str, str], str]) -> Iterator[Sheet]:
    """The sheet of every returned trial, and of every delivery that could not be taken in. names: of their files."""
    deliveries = {d.delivery_id: d for d in facts.deliveries}
    crashed: dict[tuple[str, str], list[str]] = {}
    for run in facts.check_runs:
        for where in run.crashed_on:
            crashed.setdefault(where, []).append(run.check_name)
    for standing in facts.returned:
        name = names["trial", str(standing.trial_id)]
        failed = crashed.get((standing.delivery_id, str(standing.trial_id)), [])
        yield _of_trial(facts, name, standing, deliveries.get(standing.delivery_id), failed)
    for delivery in facts.stopped:
        yield _of_delivery(facts, names["delivery", delivery.delivery_id], delivery)


def _of_trial(facts: Facts, name: str, standing: Standing, delivery: Delivery | None, failed: Iterable[str]) -> Sheet:
    """The page that goes to a lab with one returned trial."""
    key = (standing.delivery_id, standing.trial_id)
    findings = facts.findings_on.get(key, ())
    crashed = tuple(dict.fromkeys(failed))
    set_aside = [one for one in facts.set_aside if (one.delivery_id, one.trial_id) == key]
    causes = _causes(findings, {one.check_name for one in set_aside})
    drawn = tuple(f for group in view.groups_of(causes) for f in group.drawn)
    values = {
        "standing": standing,
        "groups": view.groups_of(f for f in causes if f.weight != "notes"),
        "notes": [f for f in causes if f.weight == "notes"],
        "consequences": [f for f in findings if f.finding_id not in {c.finding_id for c in causes}],
        "crashed": crashed,
        "only_crashed": bool(crashed) and {f.check_name for f in findings if f.weight == "returns"} <= set(crashed),
        "recording_again": RECORDING_AGAIN if standing.kind == "running" else None,
        "visits": facts.visits,
        "set_aside": set_aside,
        "judged_by": view.versions([delivery] if delivery else []),
    }
    pictures = tuple((f.finding_id, facts.pictured[f.finding_id]) for f in drawn if f.finding_id in facts.pictured)
    return Sheet(name, "fix.html.j2", standing.site, values, drawn, pictures)


def _causes(findings: Sequence[Finding], set_aside: Collection[str]) -> list[Finding]:
    """What is to be mended: causes, the likeliest first. What follows from one that was set aside stands for itself."""
    aside = {f.finding_id for f in findings if f.check_name in set_aside}
    return causes_first(replace(f, consequence_of=None) if f.consequence_of in aside else f for f in findings)


def _of_delivery(facts: Facts, name: str, delivery: Delivery) -> Sheet:
    """The page that goes to a lab with a delivery that could not be taken in."""
    findings = facts.findings_of.get(delivery.delivery_id, ())
    values = {
        "delivery": delivery,
        "groups": view.groups_of(f for f in findings if f.weight == "stops"),
        "others": view.groups_of(f for f in findings if f.weight != "stops"),
        "its_number": delivery.delivery_number,
        "judged_by": view.versions([delivery]),
    }
    return Sheet(name, "stopped.html.j2", delivery.site, values)
