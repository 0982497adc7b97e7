"""Faults that come back in nearly every trial of a laboratory since some point: one habit to mend, and not many faults.

Looked at are the versions of trials that count now. "Since" is told by delivery, the laboratory's own order; only where
that order does not set the trials with the fault apart is it told by study day, which counts from each runner's
enrolment and so is not the laboratory's calendar.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import TYPE_CHECKING, NamedTuple

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


class _Trial(NamedTuple):
    """A trial that counts now. order: its place among all; study_day: None if it is not known."""

    key: _Key
    order: int
    number: int
    study_day: int | None


#: Where a trial stands on a way by which "since" is told: its delivery's number, or its study day.
_Point = Callable[[_Trial], int | None]


def habits(facts: Facts) -> list[Habit]:
    """Every habit of all sites, the one with the most trials first."""
    current = {(s.delivery_id, s.trial_id): s for s in facts.current if s.trial_id}
    faults: dict[tuple[str, str, str | None], dict[_Key, Finding]] = {}
    for finding in facts.findings:
        key = (finding.delivery_id, finding.trial_id)
        if key in current and finding.weight in ("returns", "notes") and finding.consequence_of is None:
            what = (current[key].site, finding.check_name, steady_place(finding.place))
            faults.setdefault(what, {}).setdefault(key, finding)
    numbers = {d.delivery_id: d.delivery_number or 0 for d in facts.deliveries}
    of_sites: dict[str, list[_Trial]] = {}
    for order, (key, standing) in enumerate(current.items()):
        one = _Trial(key, order, numbers.get(standing.delivery_id, 0), standing.study_day)
        of_sites.setdefault(standing.site, []).append(one)
    points = cache(lambda site, point: _points(of_sites[site], point))
    could_look = cache(lambda check: _could_look(facts, check))
    names = {(d.site, d.delivery_number or 0): d.delivery_id for d in facts.deliveries if d.status == "taken_in"}
    found = []
    for (site, check, where), own in faults.items():
        if len(own) < FEWEST_TRIALS:
            continue
        for point, said in ((_number, partial(_delivery, names, site)), (_study_day, "study day {}".format)):
            if (habit := _habit(site, check, where, own, points(site, point), could_look(check), said)) is not None:
                found.append(habit)
                break
    return sorted(found, key=lambda h: (h.weight != "returns", -len(h.trials), h.site, h.check_name, h.where or ""))


def steady_place(place: str | None) -> str | None:
    """What of a finding's place can be the same in many trials: "calcaneus_left, frame 12" is "calcaneus_left"."""
    parts = [part for part in (place or "").split(", ") if part and not _PASSING.fullmatch(part)]
    return ", ".join(parts) or None


def _number(trial: _Trial) -> int | None:
    return trial.number


def _study_day(trial: _Trial) -> int | None:
    return trial.study_day


def _delivery(names: Mapping[tuple[str | None, int], str], site: str, number: int) -> str:
    return f"delivery {names[site, number]}"


def _points(trials: Sequence[_Trial], point: _Point) -> list[tuple[int, list[_Trial]]]:
    """The trials at each point, the newest first."""
    points: dict[int, list[_Trial]] = {}
    for one in trials:
        if (at := point(one)) is not None:
            points.setdefault(at, []).append(one)
    return sorted(points.items(), reverse=True)


def _could_look(facts: Facts, check: str) -> Callable[[_Key], bool]:
    """Whether the check could look at a trial, by delivery and trial."""
    looked = facts.looked_at.get(check, frozenset())
    whole = {delivery for delivery, subject in looked if subject == "delivery"}
    return lambda key: key in looked or key[0] in whole


def _habit(
    site: str,
    check: str,
    where: str | None,
    own: Mapping[_Key, Finding],
    points: Sequence[tuple[int, Sequence[_Trial]]],
    could_look: Callable[[_Key], bool],
    said: Callable[[int], str],
) -> Habit | None:
    """The habit of a fault, told in one way; None if it is none. own: trial -> its first finding there.

    Gone through from the newest trial back only as far as all the faults there are could be nearly all of the trials.
    """
    told: set[str] = set()
    faulty: set[str] = set()
    began: tuple[int, list[_Trial], int] | None = None
    with_it: list[_Trial] = []
    most = len({trial for _, trial in own})
    for at, trials in points:
        there = [one for one in trials if one.key in own or could_look(one.key)]
        told.update(str(one.key[1]) for one in there)
        if here := [one for one in there if one.key in own]:
            with_it += here
            faulty.update(str(one.key[1]) for one in here)
            if len(faulty) >= FEWEST_TRIALS and len(faulty) >= NEARLY_ALL * len(told):
                began = at, list(with_it), len(told)
        if most < NEARLY_ALL * len(told):
            break
    if began is None:
        return None
    at, since, looked_at = began
    since.sort(key=lambda one: one.order)
    first = own[since[0].key]
    oldest = next(p for p, trials in reversed(points) if any(one.key in own or could_look(one.key) for one in trials))
    ids = tuple(dict.fromkeys(str(one.key[1]) for one in since))
    return Habit(site, check, where, first.weight, ids, looked_at, None if at == oldest else said(at), first.remedy)
