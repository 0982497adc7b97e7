"""Panels of places: plates, paths and markers from above or from the side, to one scale, with a distance drawn."""

from __future__ import annotations

import math

from checks.evidence import Kind, Panel, Part, Point, Role, measured
from pipelines.pages.charts import marks
from pipelines.pages.charts.evidence_words import expected_words, panel_words, said_in, size_words
from pipelines.pages.charts.labels import Labels
from pipelines.pages.charts.legend import BAND, BAND_EDGE, legend, looks
from pipelines.pages.charts.look import EDGE, INK, MUTED, SIZE, VERMILLION, shortened, width_of
from pipelines.pages.charts.over_axes import WIDTH
from pipelines.pages.charts.scale import Scale

_HEIGHT, _ROOM, _FOOT = 200, 24, 30
#: Own choices: how much larger the place shown is than what matters in it, and its least width and height in m.
_BESIDE, _LEAST_M = 1.15, 0.2


class _Plane:
    """From metres to the drawing, alike in both directions."""

    def __init__(self, panel: Panel, top: float) -> None:
        # what matters fills the drawing; of plates is shown what lies beside it
        parts = [part for part in panel.parts if part.role is not Role.OUTLINE] or panel.parts
        known = [p for part in parts for p in part.points if math.isfinite(p[0] + p[1])]
        xs, ys = [x for x, _ in known], [y for _, y in known]
        width, height = (max(_BESIDE * (max(v) - min(v)), _LEAST_M) for v in (xs, ys))
        self.scale = min((WIDTH - 2 * _ROOM) / width, (_HEIGHT - 2 * _ROOM) / height)
        self.down = panel.kind is Kind.FROM_ABOVE  # the runner's right is below
        self.height = height * self.scale + 2 * _ROOM
        self.top = top
        self.middle = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2

    def __call__(self, point: Point) -> Point:
        y = (point[1] - self.middle[1]) * self.scale * (1 if self.down else -1)
        return WIDTH / 2 + (point[0] - self.middle[0]) * self.scale, self.top + self.height / 2 + y

    @property
    def bottom(self) -> float:
        return self.top + self.height

    def within(self, corner: Point, other: Point) -> tuple[Point, float, float]:
        """The box between two corners, cut off at the edges of the drawing."""
        x0, x1 = sorted(min(max(x, EDGE), WIDTH - EDGE) for x in (corner[0], other[0]))
        y0, y1 = sorted(min(max(y, self.top), self.bottom) for y in (corner[1], other[1]))
        return (x0, y0), x1 - x0, y1 - y0


def places(panel: Panel) -> tuple[float, float, list[str]]:
    """Width, height and parts of the drawing."""
    drawn, top = legend(panel.parts, EDGE, WIDTH, expected_words(panel))
    plane = _Plane(panel, top)
    labels = Labels((EDGE, plane.top, WIDTH - EDGE, plane.bottom - EDGE))
    measures = [part for part in panel.parts if part.role is Role.MEASURE]
    for part in measures:
        drawn += _expected(part, panel, plane)
    outlines = [_outline(part, plane) for part in panel.parts if part.role is Role.OUTLINE]
    if outlines:  # an svg of its own cuts off what reaches beyond it
        box = f"0 {plane.top:.1f} {WIDTH} {plane.height:.1f}"
        drawn.append(f'<svg x="0" y="{plane.top:.1f}" width="{WIDTH}" height="{plane.height:.1f}" viewBox="{box}">')
        drawn += [*outlines, "</svg>"]
    for i, (colour, dash) in looks(panel.parts).items():
        way = [None if math.isnan(p[0] + p[1]) else plane(p) for p in panel.parts[i].points]
        drawn.append(marks.line(way, colour=colour, width=2.2, dash=dash))
        labels.keep_off(way)
    sticks = [(part, [plane(p) for p in part.points]) for part in panel.parts if part.role is Role.STICK]
    for _, points in sticks:
        drawn.append(marks.line(points, colour=INK, width=1.4))
        drawn += [marks.mark("circle", point, 34, fill="#ffffff", width=1.4) for point in points]
        labels.keep_off(points)
    for part in measures:
        drawn += _measure(part, plane, labels)
    for part in measures:  # its number first, since that is what proves the fault
        drawn += _number(part, panel, plane, labels)
    for part, points in sticks:
        if part.name:
            drawn += labels.beside(points[0], shortened(marks.clean(part.name), WIDTH / 2))
    for part in panel.parts:
        if part.role is Role.OUTLINE:
            drawn += _named(part, plane, labels)
    return WIDTH, plane.bottom + _FOOT, [*drawn, *_directions(panel, plane)]


def _outline(part: Part, plane: _Plane) -> str:
    corners = [plane(p) for p in part.points]
    return marks.line([*corners, corners[0]], colour=MUTED, width=1.6)


def _named(part: Part, plane: _Plane, labels: Labels) -> list[str]:
    """The name of a plate in the upper left corner of what is seen of it, if it has room there."""
    corners = [plane(p) for p in part.points]
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    left, right = max(min(xs), EDGE), min(max(xs), WIDTH - EDGE)
    top, bottom = max(min(ys), plane.top), min(max(ys), plane.bottom)
    words = marks.clean(part.name)
    if right <= left or bottom <= top:
        return []  # it lies beyond what is seen
    if right - left < width_of(words) + 8 or bottom - top < SIZE + 6:
        whole = right - left < WIDTH - 2 * EDGE and bottom - top < plane.height
        return labels.beside(((left + right) / 2, (top + bottom) / 2), words) if whole else []
    return labels.beside((left - 3, top - 6), words)


def _expected(part: Part, panel: Panel, plane: _Plane) -> list[str]:
    """Where the end of the measure would be as expected."""
    if panel.expected is None:
        return []
    (x0, y0), (x1, y1) = part.points
    low, high = (end if math.isfinite(end) else math.copysign(100.0, end) for end in panel.expected)
    if y0 == y1:
        corner, width, height = plane.within(
            (plane((x0 + low, y0))[0], plane.top), (plane((x0 + high, y0))[0], plane.bottom)
        )
    elif x0 == x1:
        corner, width, height = plane.within(
            (EDGE, plane((x0, y0 + low))[1]), (WIDTH - EDGE, plane((x0, y0 + high))[1])
        )
    else:
        radius = min(high * plane.scale, plane.height / 2)
        return [marks.mark("circle", plane((x0, y0)), math.pi * radius**2, fill=BAND, edge=BAND_EDGE, name="expected")]
    return [marks.box(corner, width, height, fill=BAND, name="expected")]


def _measure(part: Part, plane: _Plane, labels: Labels) -> list[str]:
    start, end = (plane(p) for p in part.points)
    labels.keep_off([start, end])
    return [
        marks.rule(start, end, colour=VERMILLION, width=3),
        *(marks.mark("diamond", point, 40, fill=VERMILLION, width=0.8) for point in (start, end)),
    ]


def _number(part: Part, panel: Panel, plane: _Plane, labels: Labels) -> list[str]:
    start, end = (plane(p) for p in part.points)
    words = f"{part.name} {panel_words(panel, measured(part))}".strip()
    return labels.beside(((start[0] + end[0]) / 2, (start[1] + end[1]) / 2), words, bold=True)


def _directions(panel: Panel, plane: _Plane) -> list[str]:
    """A length to compare with, and which way is which."""
    long = Scale(0, (WIDTH / 4) / plane.scale, 0, 1).ticks(2)[-1]
    factor, unit = said_in("m", [long, *panel.numbers])
    y = plane.bottom + 10
    bar = long * plane.scale
    words = f"▶ forward, {'▼ right' if plane.down else '▲ up'}"
    return [
        marks.rule((EDGE, y), (EDGE + bar, y), colour=INK, width=2),
        *(marks.rule((x, y - 4), (x, y + 4), colour=INK, width=1.4) for x in (EDGE, EDGE + bar)),
        marks.text((EDGE + bar + 8, y + 5), size_words(factor * long, unit)),
        marks.text((WIDTH - EDGE, y + 5), words, anchor="end"),
    ]
