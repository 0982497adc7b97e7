"""Panels with two axes: values over time, over frequencies, or one by one; what is expected of them as a shaded band.

A length of time is measured above the values, with the length that is expected as a bar below it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from checks.evidence import Kind, Panel, Part, Role, measured
from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.evidence_words import expected_words, panel_words, unit_title
from pipelines.pages.charts.labels import Labels
from pipelines.pages.charts.legend import BAND, BAND_EDGE, SHAPES, legend, looks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, VERMILLION, width_of
from pipelines.pages.charts.scale import Scale, roomy

WIDTH = 350
_HEIGHT, _LANE, _ABOVE = 150, 18, 20
_GAP, _SPAN, _ON_GROUND = "#ece7da", "#f6dfb8", "#f1f4f7"
#: The nearest value is marked if it is no further from the moment, in seconds.
_NEAR_S = 0.02
_ACROSS = {Kind.OVER_TIME: "Time in the trial (s)", Kind.SPECTRUM: "Frequency (Hz)"}


def over_axes(panel: Panel, moment_s: float | None) -> tuple[float, float, list[str]]:
    """Width, height and parts of the drawing."""
    measures = [part for part in panel.parts if part.role is Role.MEASURE]
    band = None if measures else panel.expected
    drawn, top = legend(panel.parts, EDGE, WIDTH, expected_words(panel))
    top += _ABOVE + (34 if measures else 0)
    up = Scale(*_domain(panel, band), top + _HEIGHT, top)
    title, heights = unit_title(panel.unit), up.ticks(5)
    start, end = _range(panel)
    across = Scale(start, end, EDGE + axis.left_room(heights, title), WIDTH - EDGE - 10)
    drawn += _ground(panel, across, up)
    if band is not None:
        drawn += _band(band, across, up)
    bottom = up.start
    lane = _lane(panel, across, bottom)
    bottom += _LANE if lane else 0
    drawn += lane
    single = any(part.role is Role.VALUE for part in panel.parts)
    ticks = across.ticks(12 if single else 5, whole=panel.kind is Kind.ONE_BY_ONE)
    drawn += axis.below(across, bottom, ticks, _ACROSS.get(panel.kind, panel.across), grid_from=None)
    drawn += axis.left(up, across.start, heights, title, grid_to=across.end)
    drawn += _lines(panel.parts, across, up)
    drawn += _values(panel, moment_s, across, up)
    for part in measures:
        drawn += _measure(part, panel, across, top)
    if panel.kind is Kind.OVER_TIME and not measures and moment_s is not None and start <= moment_s <= end:
        drawn += _moment(panel, moment_s, across, up, top)
    return WIDTH, bottom + axis.BELOW_TITLED + EDGE, drawn


def _range(panel: Panel) -> tuple[float, float]:
    drawn = [p for p in panel.parts if p.role not in (Role.EXPECTED,)]
    known = [x for part in drawn for x, _ in part.points if math.isfinite(x)]
    start, end = min(known), max(known)
    if panel.kind is Kind.ONE_BY_ONE:
        return start - 0.5, end + 0.5
    return start, end if end > start else start + 1


def _domain(panel: Panel, band: tuple[float, float] | None) -> tuple[float, float]:
    shown = (Role.LINE, Role.BESIDE, Role.VALUE)
    known = [y for part in panel.parts if part.role in shown for _, y in part.points if math.isfinite(y)]
    known += [end for end in band or () if math.isfinite(end)]
    part = 0.18 if any(part.role is Role.VALUE for part in panel.parts) else 0.1  # with room for a number beside
    return roomy(known, part=part, with_zero=panel.unit in ("N", "%") or panel.kind is Kind.ONE_BY_ONE)


def _ground(panel: Panel, across: Scale, up: Scale) -> list[str]:
    """What lies behind: contacts, gaps, stretches that the finding is about."""
    drawn = []
    for part in panel.parts:
        if part.role is Role.CONTACT:
            drawn.append(_stripe(part.points[0][0], part.points[-1][0], across, up, _ON_GROUND, "contact"))
        elif part.role is Role.LINE:
            drawn += [_stripe(a, b, across, up, _GAP, "gap") for a, b in _gaps(part)]
    for part in panel.parts:
        if part.role is Role.SPAN:
            a, b = part.points[0][0], part.points[-1][0]
            drawn.append(_stripe(a, b, across, up, _SPAN, "span"))
            middle = min(
                max((across(a) + across(b)) / 2, across.start + width_of(part.name) / 2),
                across.end - width_of(part.name) / 2,
            )
            drawn.append(marks.text((middle, up.start - 5), part.name, anchor="middle"))
    return drawn


def _stripe(a: float, b: float, across: Scale, up: Scale, fill: str, name: str) -> str:
    return marks.box((across(a), up.end), max(across(b) - across(a), 1.5), up.start - up.end, fill=fill, name=name)


def _gaps(part: Part) -> list[tuple[float, float]]:
    """Stretches without a value, each from the last known value to the next one."""
    gaps, start, last = [], None, part.points[0][0]
    for x, y in part.points:
        if math.isnan(y):
            start = last if start is None else start
        else:
            if start is not None:
                gaps.append((start, x))
            start, last = None, x
    return gaps + ([(start, part.points[-1][0])] if start is not None else [])


def _band(band: tuple[float, float], across: Scale, up: Scale) -> list[str]:
    low, high = (min(max(end, up.low), up.high) for end in band)
    width = across.end - across.start
    drawn = [marks.box((across.start, up(high)), width, up(low) - up(high), fill=BAND, name="expected")]
    for end in band:
        if math.isfinite(end):
            y = up(end)
            drawn.append(marks.rule((across.start, y), (across.end, y), colour=BAND_EDGE, width=1.4, dash="6 3"))
    return drawn


def _lane(panel: Panel, across: Scale, top: float) -> list[str]:
    """Below the values: which foot is on the ground, by letter, a filled or an open box; sides of single values."""
    drawn = []
    for part in panel.parts:
        if part.role is Role.CONTACT:
            a, b = across(part.points[0][0]), across(part.points[-1][0])
            left = part.name == "left"
            drawn.append(marks.box((a, top + 2), b - a, _LANE - 4, fill="#c3ccd4" if left else "#ffffff", edge=MUTED))
            if b - a > 12:
                drawn.append(
                    marks.text(((a + b) / 2, top + _LANE - 4), part.name[:1].upper(), anchor="middle", bold=True)
                )
        elif part.role is Role.VALUE and part.name in ("left", "right") and len(panel.numbers) <= 24:
            drawn += [
                marks.text((across(x), top + _LANE - 4), part.name[0].upper(), anchor="middle") for x, _ in part.points
            ]
    return drawn


def _lines(parts: Sequence[Part], across: Scale, up: Scale) -> list[str]:
    drawn = []
    for i, (colour, dash) in looks(parts).items():
        places = (None if math.isnan(y) else (across(x), up(y)) for x, y in parts[i].points)
        drawn.append(marks.line(places, colour=colour, width=1.8, dash=dash))
    return drawn


def _values(panel: Panel, moment_s: float | None, across: Scale, up: Scale) -> list[str]:
    """Single values, and the number of the one that is furthest from what is expected, of a line too."""
    beyond, drawn = set(panel.beyond), []
    for part in panel.parts:
        for x, y in part.points if part.role is Role.VALUE else ():
            if math.isfinite(y):
                fill = VERMILLION if y in beyond else BLUE
                drawn.append(marks.mark(SHAPES.get(part.name, "diamond"), (across(x), up(y)), 60, fill=fill, width=0.6))
    worst = panel.furthest_beyond(moment_s)
    if worst is None:
        return drawn
    place = across(worst[0]), up(worst[1])
    labels = Labels((across.start, up.end, across.end, up.start))
    for part in panel.parts:
        if part.role in (Role.LINE, Role.BESIDE):
            labels.keep_off([None if math.isnan(y) else (across(x), up(y)) for x, y in part.points])
        elif part.role is Role.VALUE:
            labels.keep_off([p for x, y in part.points if math.isfinite(y) for p in (None, (across(x), up(y)))])
    if not any(part.role is Role.VALUE for part in panel.parts):
        labels.keep_off([(place[0], up.end), (place[0], up.start)])  # the line at the moment
        drawn.append(marks.mark("diamond", place, 64, fill=VERMILLION, width=1))
    return [*drawn, *labels.beside(place, panel_words(panel, worst[1]), bold=True)]


def _measure(part: Part, panel: Panel, across: Scale, top: float) -> list[str]:
    (x0, _), (x1, _) = part.points
    y = top - 12
    drawn = [
        marks.rule((across(x0), y), (across(x1), y), colour=VERMILLION, width=2.6),
        *(marks.rule((across(x), y - 5), (across(x), y + 5), colour=VERMILLION, width=2) for x in (x0, x1)),
    ]
    if panel.expected is not None:
        ends = [min(max(x0 + end, across.low), across.high) for end in panel.expected if math.isfinite(end)]
        start = x0 if len(ends) == 1 else min(ends)
        width = max(across(max(ends)) - across(start), 1.5)
        drawn.append(marks.box((across(start), y + 6), width, 5, fill=BAND, edge=BAND_EDGE, name="expected"))
    words = f"{part.name} {panel_words(panel, abs(measured(part)))}".strip()
    half = width_of(words, bold=True) / 2
    middle = min(max((across(x0) + across(x1)) / 2, across.start + half), across.end - half)
    return [*drawn, marks.text((middle, y - 8), words, anchor="middle", bold=True)]


def _moment(panel: Panel, moment_s: float, across: Scale, up: Scale, top: float) -> list[str]:
    x = across(moment_s)
    share = (x - across.start) / (across.end - across.start)
    anchor = "start" if share < 0.2 else "end" if share > 0.8 else "middle"
    drawn = [
        marks.rule((x, top), (x, up.start), colour=INK, width=1.4, dash="5 3"),
        marks.text((x, top - 6), f"▼ {moment_s:.3f} s", anchor=anchor, bold=True),
    ]
    line = next((part for part in panel.parts if part.role is Role.LINE), None)
    known = [p for p in line.points if not math.isnan(p[1])] if line else []
    near = min(known, key=lambda p: abs(p[0] - moment_s), default=None)
    if panel.expected is None and near and abs(near[0] - moment_s) < _NEAR_S:
        # hollow, since nothing is said to be wrong there
        drawn.append(marks.mark("diamond", (across(near[0]), up(near[1])), 64, fill="#ffffff", width=1.2))
    return drawn
