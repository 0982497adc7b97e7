"""What the checks of outcomes and of contact sensors show beside what they say. Registers no check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from checks import showing as show
from checks.evidence import Picture
from pipelines.science.workspace import Workspace
from schemas.trial import UP, Trial


def each(
    title: str, unit: str, footfalls: Sequence[Mapping[str, Any]], name: str, *, low: float, high: float
) -> Picture:
    """One outcome of each footfall."""
    sides = [str(row["side"]) for row in footfalls]
    return show.picture(show.one_by_one(title, unit, [row[name] for row in footfalls], sides, low=low, high=high))


def too_few(trial: Trial, count: float, needed: float) -> Picture:
    """How many footfalls there are, and the vertical force of the whole trial."""
    limit = show.number("Complete footfalls", "1", count, low=needed)
    line = show.line("", trial.force[:, UP], trial.analog_rate_hz or 1.0)
    return show.picture(limit, show.over_time("Vertical force of all plates", "N", line))


def turns(contacts: Mapping[str, Iterable[float]], start_s: float, end_s: float, least_s: float) -> Picture:
    """Contacts of both feet around two in a row of one foot, and the time between the two."""
    span = start_s - 1.0, end_s + 1.0
    lanes = [
        show.events(f"{side} foot, contact", [t for t in sorted(times) if span[0] <= t <= span[1]])
        for side, times in contacts.items()
    ]
    apart = show.lasting("apart", start_s, end_s)
    return show.picture(show.two_clocks("Contacts of both feet", *(x for x in lanes if x.points), apart, low=least_s))


def speeds(found: Sequence[float], wanted: float, allowed: float, across: str) -> Picture:
    """The speed of each stride or contact beside the one of the tables."""
    limits = wanted * (1 - allowed), wanted * (1 + allowed)
    middle = float(np.median(found))
    return show.picture(
        show.number("Speed of the runner, median of the trial", "m/s", middle, low=limits[0], high=limits[1]),
        show.one_by_one("Speed", "m/s", found, low=limits[0], high=limits[1], across=across),
    )


def other_foot(lanes: Mapping[str, Sequence[float]], percent: float, most_percent: float) -> Picture:
    """How many contacts a sensor tells of its own foot, and the events of both feet by both methods."""
    events = [show.events(name, [t for t in times if t < _first(lanes) + 2.5]) for name, times in lanes.items()]
    return show.picture(
        show.number("Contacts that the sensor of the same side agrees with", "%", percent, low=most_percent),
        show.two_clocks("Contacts of both feet by both methods", *(part for part in events if part.points)),
    )


def _first(lanes: Mapping[str, Sequence[float]]) -> float:
    return min((t for times in lanes.values() for t in times), default=0.0)


def late(late_s: float, most_s: float, work: Workspace, side: str) -> dict[str, Any]:
    """How late a sensor closes on average, and contacts of its foot by both methods."""
    limit = show.number("How late the sensor closes, on average", "s", late_s, low=-most_s, high=most_s)
    lanes = {
        f"{side} foot, by {method}": [c.start_s for own, c in contacts if own == side]
        for method, contacts in work.contacts.by_method.items()
    }
    events = [show.events(name, [t for t in times if t < _first(lanes) + 2.5]) for name, times in lanes.items()]
    both = show.two_clocks("Contacts by each method", *(part for part in events if part.points))
    return {"signal": None, "shows": show.picture(limit, both)}


def drift(change_s: float, late_s: Sequence[float], side: str, most_s: float) -> dict[str, Any]:
    """How much later a sensor closes at the end than at the start, and how late at each contact."""
    limit = show.number("Change from the first to the last contact", "s", change_s, low=-most_s, high=most_s)
    each_one = show.one_by_one("How late the sensor closes at each contact", "s", late_s, [side] * len(late_s))
    return {"signal": None, "shows": show.picture(limit, each_one)}
