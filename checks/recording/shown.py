"""What the checks of two clocks show beside what they say. Registers no check and judges nothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from checks import showing as show
from checks.evidence import Part, Picture

Told = Sequence[tuple[str, Sequence[float], Sequence[float]]]


def unmatched(events: Told, tolerance_s: float) -> Picture | None:
    """Events of both files on one line, and the one that is furthest from its like; None without events.

    events: kind -> moments in the trial's file and in the second one, s. Nothing is measured if all find a partner, as
    they do where two alignments fit.
    """
    lanes, worst = [], (tolerance_s, 0.0, 0.0)
    for kind, ours, theirs in events:
        lanes += [show.events(f"{kind}, trial's file", ours), show.events(f"{kind}, second file", theirs)]
        for alone, others in ((ours, theirs), (theirs, ours)):
            worst = max([worst, *_alone(alone, others)])
    apart: list[Part] = []
    if worst[0] > tolerance_s:
        apart = [show.lasting("nearest of its kind", worst[1], worst[2])]
    lanes = [lane for lane in lanes if lane.points]
    if not lanes:
        return None
    limit = tolerance_s if apart else None
    low = None if limit is None else -limit
    title = "Events of both files, in the best alignment if there is one"
    return show.picture(show.two_clocks(title, *lanes, *apart, low=low, high=limit))


def _alone(times: Sequence[float], others: Sequence[float]) -> list[tuple[float, float, float]]:
    """How far each event is from the nearest of the others where both were recorded: distance, event, nearest."""
    if not len(others):
        return []
    among, found = np.asarray(others, float), []
    for t in times:
        if among.min() <= t <= among.max():
            near = float(among[np.argmin(np.abs(among - t))])
            found.append((abs(near - t), float(t), near))
    return found
