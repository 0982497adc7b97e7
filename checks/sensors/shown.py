"""What the checks of contact sensors show beside what they say. Registers no check and judges nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from checks import showing as show
from checks.evidence import Part, Picture
from pipelines.science.events.from_sensors import levels_of
from pipelines.science.events.switches import NEAR_S, Switch
from pipelines.science.workspace import Workspace

#: How much of a trial is drawn to either side of a contact that a sensor missed or told twice, s.
_AROUND_S = 1.2


def one_level(switch: Switch, contrast: float, at_s: float) -> Picture:
    """How far the levels of a switch lie apart beside their spread, and its signal with the contacts."""
    low, high, spread = levels_of(np.asarray(switch.signal.samples, float)) or (0.0, 0.0, 0.0)
    apart = (high - low) / spread if spread > 0 else 0.0
    title = "Distance of the signal's two levels, as a multiple of how far its samples lie from them"
    line = show.line("", switch.signal.samples, switch.signal.rate_hz, switch.signal.start_s, around=at_s)
    return show.picture(
        show.number(title, "1", apart, low=contrast), show.over_time("The sensor's signal", switch.signal.unit, line)
    )


def not_once(
    switch: Switch, contacts: Sequence[tuple[float, float]], at_s: float, limits: tuple[float, float]
) -> Picture:
    """Contacts of a foot and the closings of its sensor around one that was missed or told twice.

    contacts: start and end by another method, s; none where they rest on the sensor itself. limits: least and largest
    interval of the sensor's own closings then, s.
    """
    closed = switch.closed_s[:, 0].tolist()
    lanes = [
        show.events(name, [t for t in times if abs(t - at_s) <= _AROUND_S])
        for name, times in (
            (f"{switch.signal.side} foot, contact", [start for start, _ in contacts]),
            (f"{switch.signal.side} foot, sensor closes", closed),
        )
    ]
    lanes = [lane for lane in lanes if lane.points]
    if not contacts:
        gap = _interval(closed, at_s)
        return show.picture(show.two_clocks("Closings of the sensor", *lanes, gap, low=limits[0], high=limits[1]))
    own = [(start, end) for start, end in contacts if abs(start - at_s) < 1e-6]
    times = [t for start, end in own for t in closed if start - NEAR_S < t < end]
    if len(times) > 1:
        twice = show.number("Closings of the sensor in this contact", "1", len(times), high=1)
        return show.picture(twice, show.two_clocks("Contacts and closings", *lanes))
    near = min(closed, key=lambda t: abs(t - at_s), default=at_s)
    apart = show.lasting("nearest closing", at_s, near)
    return show.picture(show.two_clocks("Contacts and closings", *lanes, apart, low=-NEAR_S, high=NEAR_S))


def _interval(closed: Sequence[float], at_s: float) -> Part:
    """The interval between two closings that holds a moment, or ends at it."""
    before = [t for t in closed if t < at_s - 1e-6]
    after = [t for t in closed if t >= at_s - 1e-6]
    return show.lasting("interval", before[-1] if before else at_s, after[0] if after else at_s)


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
    apart = _typically_late(lanes.get(f"{side} foot, by sensor", []), lanes, late_s)
    parts = [part for part in (*events, apart) if part is not None and part.points]
    limits = {"low": -most_s, "high": most_s} if apart else {}
    return {"signal": None, "shows": show.picture(limit, show.two_clocks("Contacts by each method", *parts, **limits))}


def _typically_late(closed: Sequence[float], lanes: Mapping[str, Sequence[float]], late_s: float) -> Part | None:
    """Of the drawn contacts by another method the one whose closing is about as late as they are on average."""
    others = [t for name, times in lanes.items() if not name.endswith("sensor") for t in times]
    pairs = [(t, c) for t in others if t < _first(lanes) + 2.4 for c in closed if abs(c - t) < 0.15]
    if not pairs:
        return None
    start, end = min(pairs, key=lambda pair: abs(pair[1] - pair[0] - late_s))
    return show.lasting("sensor later by" if late_s > 0 else "sensor earlier by", start, end)


def drift(change_s: float, late_s: Sequence[float], side: str, most_s: float) -> dict[str, Any]:
    """How much later a sensor closes at the end than at the start, and how late at each contact."""
    limit = show.number("Change from the first to the last contact", "s", change_s, low=-most_s, high=most_s)
    each_one = show.one_by_one("How late the sensor closes at each contact", "s", late_s, [side] * len(late_s))
    return {"signal": None, "shows": show.picture(limit, each_one)}
