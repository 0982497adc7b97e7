"""Faults that come back in nearly every trial of a laboratory since some point: one habit to mend, and not many faults.

Looked at are the versions of trials that count now. "Since" is told by delivery, the laboratory's own order; only where
that order does not set the trials with the fault apart is it told by study day, which counts from each runner's
enrolment and so is not the laboratory's calendar.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipelines.pages.facts import Facts, Finding

#: What makes a fault a habit: so many trials, and such a share of all that were looked at since it began.
FEWEST_TRIALS = 3
NEARLY_ALL = 0.8
#: Parts of a place that differ from trial to trial.
_PASSING = re.compile(
    r"(?:from )?frames? \d.*|lines? \d.*|footfalls? \d.*|(?:trial|session|participant)_id .*"
    r"|(?:at )?\d+(?:\.\d+)? m?s\b.*"
)


@dataclass(frozen=True)
class Habit:
    """One fault in nearly all trials since some point. where: plate, marker or column, None for the whole trial.

    since: the delivery's name or the study day, None for from the beginning; looked_at: trials the check could look at.
    """

    site: str
    check_name: str
    where: str | None
    weight: str
    trials: tuple[str, ...]
    looked_at: int
    since: str | None
    remedy: str

    @property
    def words(self) -> str:
        """For example "all 7 trials since delivery corrie-002"."""
        count = len(self.trials)
        share = f"all {count} trials" if count == self.looked_at else f"{count} of {self.looked_at} trials"
        return f"{share} since {self.since}" if self.since else f"{share} from the beginning"


#: Delivery and trial.
_Key = tuple[str, str | None]


@dataclass(frozen=True)
class _Seen:
    """One trial that the check looked at. finding: its first finding at the place, if any."""

    trial_id: str
    number: int
    study_day: int | None
    finding: Finding | None


def habits(facts: Facts) -> list[Habit]:
    """Every habit of all sites, the one with the most trials first."""
    current = {(s.delivery_id, s.trial_id): s for s in facts.current if s.trial_id}
    faults: dict[tuple[str, str, str | None], dict[tuple[str, str | None], Finding]] = {}
    for finding in facts.findings:
        key = (finding.delivery_id, finding.trial_id)
        if key in current and finding.weight in ("returns", "notes") and finding.consequence_of is None:
            what = (current[key].site, finding.check_name, steady_place(finding.place))
            faults.setdefault(what, {}).setdefault(key, finding)
    found = []
    numbers = {d.delivery_id: d.delivery_number or 0 for d in facts.deliveries}
    of_sites: dict[str, list[tuple[_Key, _Seen]]] = {}
    for key, standing in current.items():
        one = _Seen(str(standing.trial_id), numbers.get(standing.delivery_id, 0), standing.study_day, None)
        of_sites.setdefault(standing.site, []).append((key, one))
    looked_at = cache(lambda site, check: _looked_at(facts, of_sites[site], check))
    for (of_site, check, where), own in faults.items():
        if len(own) >= FEWEST_TRIALS:
            seen = [
                replace(one, finding=own[key]) if key in own else one
                for key, one, looked in looked_at(of_site, check)
                if looked or key in own
            ]
            if habit := _habit(facts, of_site, check, where, seen):
                found.append(habit)
    return sorted(found, key=lambda h: (h.weight != "returns", -len(h.trials), h.site, h.check_name, h.where or ""))


def steady_place(place: str | None) -> str | None:
    """What of a finding's place can be the same in many trials: "calcaneus_left, frame 12" is "calcaneus_left"."""
    parts = [part for part in (place or "").split(", ") if part and not _PASSING.fullmatch(part)]
    return ", ".join(parts) or None


def _looked_at(facts: Facts, trials: Sequence[tuple[_Key, _Seen]], check: str) -> list[tuple[_Key, _Seen, bool]]:
    """Each trial by delivery and name, and whether the check looked at it; where it found something is not told yet."""
    looked = facts.looked_at.get(check, frozenset())
    whole = {delivery for delivery, subject in looked if subject == "delivery"}
    return [(key, one, key in looked or key[0] in whole) for key, one in trials]


def _habit(facts: Facts, site: str, check: str, where: str | None, seen: list[_Seen]) -> Habit | None:
    own = (d for d in facts.deliveries if d.site == site and d.status == "taken_in")
    names = {d.delivery_number or 0: d.delivery_id for d in own}
    known = [s for s in seen if s.study_day is not None]
    ways: tuple[tuple[list[_Seen], Callable[[_Seen], Any], Callable[[Any], str]], ...] = (
        (seen, lambda s: s.number, lambda number: f"delivery {names[number]}"),
        (known, lambda s: s.study_day, lambda day: f"study day {day}"),
    )
    for trials, order, said in ways:
        if (after := since(trials, order)) is not None:
            with_it = [s for s in after if s.finding]
            first = min(order(s) for s in after)
            start = None if first == min(order(s) for s in trials) else said(first)
            told = with_it[0].finding
            assert told is not None
            ids = tuple(dict.fromkeys(s.trial_id for s in with_it))
            looked_at = len({s.trial_id for s in after})
            return Habit(site, check, where, told.weight, ids, looked_at, start, told.remedy)
    return None


def since(trials: Sequence[_Seen], order: Callable[[_Seen], Any]) -> list[_Seen] | None:
    """The trials from the first point on from which nearly all have the fault; None if that is no habit."""
    faulty: set[str] = set()
    told: set[str] = set()
    begins: list[tuple[Any, int, int]] = []  # a point, how many trials have the fault since, and how many there are
    for point, own in groupby(sorted(trials, key=order, reverse=True), key=order):
        later = list(own)
        told |= {s.trial_id for s in later}
        if with_it := {s.trial_id for s in later if s.finding}:
            faulty |= with_it
            begins.append((point, len(faulty), len(told)))
    for point, count, of in reversed(begins):
        if count >= FEWEST_TRIALS and count >= NEARLY_ALL * of:
            return [s for s in trials if order(s) >= point]
    return None
