"""A stretch of one signal over time, the moment of a finding marked and missing samples shaded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, SIZE, VERMILLION
from pipelines.pages.charts.scale import Scale, roomy
from pipelines.pages.traces import Trace
from pipelines.pages.words import signal_words

_WIDTH, _HEIGHT, _SHADED = 430, 170, "#ece7da"
#: Room above the drawing for the moment's label.
_ABOVE = 20
#: The nearest sample is marked if it is no further from the moment, in seconds.
_NEAR_S = 0.02


@dataclass(frozen=True)
class Drawing:
    """A chart and the words above it."""

    svg: Markup
    caption: str


def signal_chart(trace: Trace, moment_s: float | None, key: str) -> Drawing:
    """The chart of a trace of two points or more.

    key: makes the ids of the drawing unique on its page.
    """
    finite = ((t, v if v is not None and math.isfinite(v) else None) for t, v in trace.points)
    trace = replace(trace, points=tuple(finite))
    what, axis_title = signal_words(trace.signal)
    known = [v for _, v in trace.points if v is not None]
    low, high = roomy(known, part=0.08, with_zero=trace.signal.startswith("force"))
    bottom = _ABOVE + _HEIGHT
    up = Scale(low, high, bottom, _ABOVE)
    title, heights = f"{axis_title} ({trace.unit})", up.ticks(5)
    start, end = trace.points[0][0], trace.points[-1][0]
    across = Scale(start, end if end > start else start + 1, EDGE + axis.left_room(heights, title), _WIDTH - EDGE - 10)
    parts = [marks.box((across(a), _ABOVE), across(b) - across(a), _HEIGHT, fill=_SHADED) for a, b in _gaps(trace)]
    parts += axis.below(across, bottom, across.ticks(6), "Time in the trial (s)", grid_from=_ABOVE)
    parts += axis.left(up, across.start, heights, title, grid_to=across.end)
    places = (None if v is None else (across(t), up(v)) for t, v in trace.points)
    parts.append(marks.line(places, colour=BLUE, width=1.8))
    parts += _moment(trace, moment_s, across, up)
    drawn = marks.svg(
        _WIDTH, bottom + axis.BELOW_TITLED + EDGE, parts, key, what, _signal_summary(trace, moment_s, known)
    )
    shaded = "not loaded" if trace.signal.startswith("cop:") else "no value"
    return Drawing(drawn, f"{what}. Shaded: {shaded}." if len(known) < len(trace.points) else what)


def _moment(trace: Trace, moment_s: float | None, across: Scale, up: Scale) -> list[str]:
    if moment_s is None or not trace.points[0][0] <= moment_s <= trace.points[-1][0]:
        return []
    x = across(moment_s)
    share = (x - across.start) / (across.end - across.start)
    anchor = "start" if share < 0.2 else "end" if share > 0.8 else "middle"
    parts = [
        marks.rule((x, up.end), (x, up.start), colour=INK, width=1.4, dash="5 3"),
        marks.text((x, up.end - 6), f"▼ {moment_s:.3f} s", anchor=anchor, size=SIZE, bold=True),
    ]
    known = ((t, v) for t, v in trace.points if v is not None)
    near = min(known, key=lambda p: abs(p[0] - moment_s), default=None)
    if near and abs(near[0] - moment_s) < _NEAR_S:
        parts.append(marks.mark("diamond", (across(near[0]), up(near[1])), 64, fill=VERMILLION, width=1))
    return parts


def _gaps(trace: Trace) -> list[tuple[float, float]]:
    """Stretches without a value, each from the last known sample to the next one."""
    gaps, start, last = [], None, trace.points[0][0]
    for time, value in trace.points:
        if value is None:
            start = last if start is None else start
        elif start is not None:
            gaps.append((start, time))
            start = None
        if value is not None:
            last = time
    return gaps + ([(start, trace.points[-1][0])] if start is not None else [])


def _signal_summary(trace: Trace, moment_s: float | None, known: Sequence[float]) -> str:
    if not known:
        return "The signal has no values in this stretch."
    start, end = trace.points[0][0], trace.points[-1][0]
    text = f"From {start:.2f} to {end:.2f} s it lies between {min(known):.4g} and {max(known):.4g} {trace.unit}."
    if len(known) < len(trace.points):
        text += " Shaded stretches have no values."
    return text + (f" The finding is at {moment_s:.3f} s." if moment_s is not None else "")
