"""What the checks of recordings show beside what they say. Registers no check and judges nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from checks import showing as show
from checks.evidence import Panel, Part, Picture, Role
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Mark, Signal, Trial

#: How much of a trial is drawn to either side of a mark, s.
_AROUND_S = 1.2
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


def marked(
    trial: Trial, mark: Mark, kind: str, seen: Mapping[tuple[str, str], FloatArray], limit_s: float, method: str
) -> Picture:
    """Marks of one foot around one that cannot be true, and the moments at which the signals show both its events.

    limit_s: what two marks lie apart at least where they contradict each other, else a mark and its event at most.
    """
    if kind == "beyond":
        whole = show.number("Moment of the mark", "s", mark.time_s, low=0.0, high=trial.duration_s)
        return show.picture(whole)
    own = [other for other in trial.marks if other.side == mark.side and other is not mark]
    lanes = []
    for event in ("contact", "toe_off"):
        words = f"{mark.side} {event.replace('_', '-')}"
        moments = [other.time_s for other in trial.marks if (other.side, other.event) == (mark.side, event)]
        for name, times in ((f"{words}, marked", moments), (f"{words}, by {method}", seen[mark.side, event])):
            lanes.append(show.events(name, [t for t in times if abs(t - mark.time_s) <= _AROUND_S]))
    limits: dict[str, float] = {"low": limit_s}
    if kind in ("doubled", "order"):
        before = [other.time_s for other in own if other.time_s <= mark.time_s]
        apart = show.lasting("apart", max(before, default=mark.time_s), mark.time_s)
    else:
        times = seen[mark.side, mark.event]
        near = float(times[np.argmin(np.abs(times - mark.time_s))]) if len(times) else mark.time_s
        way = "late" if mark.time_s > near else "early"
        apart, limits = show.lasting(f"marked {way} by", near, mark.time_s), {"low": -limit_s, "high": limit_s}
    title = "Marks of the file and what the signals show"
    return show.picture(show.two_clocks(title, *(lane for lane in lanes if lane.points), apart, **limits))


def flat(points: FloatArray, axis: int, thin: float, least: float) -> tuple[Panel, ...]:
    """How thick the body of all markers is in its thinnest direction, and its markers where they are seen so.

    points: (frames, markers, 3) m; least: how thick a body is, m.
    """
    words = {FORWARD: "ahead", UP: "upwards", RIGHT: "sideways"}
    limit = show.number(f"Thickness of the body of all markers, {words[axis]}", "m", thin, low=least)
    above = axis != UP
    other = RIGHT if above else UP
    found = np.nanmedian(points, axis=0)[:, [FORWARD, other]]
    seen = found[np.isfinite(found).all(axis=1)]
    (x0, y0), (x1, y1) = np.percentile(seen, [10, 90], axis=0)
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    if axis == FORWARD:
        x0, x1 = middle[0] - least / 2, middle[0] + least / 2
    else:
        y0, y1 = middle[1] - least / 2, middle[1] + least / 2
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    box = Part(Role.OUTLINE, "at least so thick", tuple((float(x), float(y)) for x, y in corners))
    markers = [Part(Role.STICK, "", ((float(x), float(y)),)) for x, y in seen]
    panel = show.from_above if above else show.from_side
    return limit, panel(f"All markers from {'above' if above else 'the side'}, each at its median", box, *markers)


def share_of_damaged(title: str, percent: float, most_percent: float) -> tuple[Panel, ...]:
    """How much of a recording is damaged, in per cent."""
    return (show.number(title, "%", percent, high=most_percent),)


def unusable(problem: str, values: Mapping[str, Any], own: Sequence[Signal]) -> Picture | None:
    """How much of a muscle's signal is stuck at the end of its range, or how often it is sampled; else nothing."""
    if problem == "saturated":
        title = "Samples at the signal's largest or smallest value"
        limit = show.number(title, "%", values["stuck_percent"], high=values["allowed_percent"])
        lines = [show.line("", s.samples, s.rate_hz, s.start_s) for s in own[:1]]
        return show.picture(limit, *(show.over_time("The signal as it came", own[0].unit, line) for line in lines))
    if problem == "rate_too_low":
        return show.picture(show.number("Samples per second", "Hz", values["rate_hz"], low=values["least_hz"]))
    return None
