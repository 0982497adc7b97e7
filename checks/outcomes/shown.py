"""What the checks of outcomes and of contact sensors show beside what they say. Registers no check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from checks import showing as show
from checks.evidence import Picture
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
