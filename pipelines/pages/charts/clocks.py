"""Panels of events that two recorders or methods tell, each on a line of its own over one time axis."""

from __future__ import annotations

import math

from checks.evidence import Panel, Part, Role, measured
from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.evidence_words import expected_words, panel_words
from pipelines.pages.charts.legend import BAND, BAND_EDGE, legend
from pipelines.pages.charts.look import BLUE, EDGE, MUTED, SIZE, VERMILLION, shortened, width_of
from pipelines.pages.charts.over_axes import WIDTH
from pipelines.pages.charts.scale import Scale

_LANE = 50
_SHAPES = ("triangle-down", "triangle-up", "diamond", "square")


def clocks(panel: Panel) -> tuple[float, float, list[str]]:
    """Width, height and parts of the drawing."""
    lanes = [part for part in panel.parts if part.role is Role.LINE]
    measures = [part for part in panel.parts if part.role is Role.MEASURE]
    drawn, top = legend((), EDGE, WIDTH, expected_words(panel))
    top += 2 * SIZE if measures else 4
    bottom = top + _LANE * len(lanes)
    known = [x for part in (*lanes, *measures) for x, _ in part.points if math.isfinite(x)]
    start, end = min(known), max(known)
    room = 0.04 * (end - start) or 0.1
    across = Scale(start - room, end + room, EDGE, WIDTH - EDGE)
    for part in measures:
        drawn += _measure(part, panel, across, top, bottom)
    for number, part in enumerate(lanes):
        y = top + _LANE * (number + 0.66)
        drawn.append(marks.text((EDGE, y - 16), shortened(marks.clean(part.name), WIDTH - 2 * EDGE)))
        drawn.append(marks.rule((across.start, y), (across.end, y), colour=MUTED))
        shape = _SHAPES[number % len(_SHAPES)]
        drawn += [marks.mark(shape, (across(x), y), 70, fill=BLUE, width=0.8) for x, _ in part.points]
    drawn += axis.below(across, bottom + 4, across.ticks(6), "Time in the trial (s)")
    return WIDTH, bottom + 4 + axis.BELOW_TITLED + EDGE, drawn


def _measure(part: Part, panel: Panel, across: Scale, top: float, bottom: float) -> list[str]:
    (x0, _), (x1, _) = part.points
    drawn = []
    if panel.expected is not None:
        a, b = (min(max(x0 + end, across.low), across.high) for end in panel.expected)
        width = max(across(b) - across(a), 2.0)
        drawn.append(
            marks.box((across(a), top), width, bottom - top, fill=BAND, edge=BAND_EDGE, dash="3 2", name="expected")
        )
    words = f"{part.name} {panel_words(panel, abs(measured(part)))}".strip()
    half = width_of(words, bold=True) / 2
    middle = min(max((across(x0) + across(x1)) / 2, EDGE + half), WIDTH - EDGE - half)
    return [
        *drawn,
        *(
            marks.rule((across(x), top - 4), (across(x), bottom), colour=VERMILLION, width=1.2, dash="3 2")
            for x in (x0, x1)
        ),
        marks.rule((across(x0), top - 4), (across(x1), top - 4), colour=VERMILLION, width=3),
        marks.text((middle, top - 10), words, anchor="middle", bold=True),
    ]
