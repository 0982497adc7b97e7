"""Drawing of a control chart: a site's sessions in order, with the centre and limits of its own first sessions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, VERMILLION
from pipelines.pages.charts.scale import Scale, roomy
from pipelines.pages.whole_sites import Point, quantity_words

_WIDTH, _HEIGHT = 340, 160
#: More sessions than these are not drawn, so that points stay apart on a phone; the newest are kept.
MOST_DRAWN = 60


def control_chart_drawing(points: Sequence[Point], key: str) -> Markup:
    """The chart of one quantity of one site.

    points: at least one, in order. Rings made the limits, dots came later, triangles lie beyond a limit and point to
    it. key: makes the ids of the drawing unique on its page.
    """
    shown = list(points)[-MOST_DRAWN:]
    title, _, axis_title = quantity_words(shown[0].quantity)
    limits = _limits(shown[0])
    low, high = roomy([*(p.measured_value for p in shown), *(value for value, _, _ in limits)], part=0.12)
    bottom = EDGE + _HEIGHT
    up = Scale(low, high, bottom, EDGE)
    heights = up.ticks(5)
    first, last = shown[0].point_number, shown[-1].point_number
    across = Scale(first - 0.5, last + 0.5, EDGE + axis.left_room(heights, axis_title), _WIDTH - EDGE - 4)
    numbers = across.ticks(min(6, len(shown)), whole=True)
    parts = axis.left(up, across.start, heights, axis_title, grid_to=across.end)
    parts += axis.below(across, bottom, numbers, "Session, in order of deliveries")
    for value, name, dash in limits:
        parts.append(marks.rule((across.start, up(value)), (across.end, up(value)), colour=INK, width=1.2, dash=dash))
        parts.append(marks.text((across.end, up(value) - 3), name, anchor="end"))
    places = [(across(p.point_number), up(p.measured_value)) for p in shown]
    parts.append(marks.line(places, colour=MUTED, width=0.8))
    parts += [marks.mark(place=place, **_LOOKS[_kind(p)]) for p, place in zip(shown, places, strict=True)]
    height = bottom + axis.BELOW_TITLED + EDGE
    return marks.svg(_WIDTH, height, parts, key, f"{title}, session by session, at {shown[0].site}", summary(shown))


_LOOKS: dict[str, dict[str, Any]] = {
    "baseline": {"shape": "circle", "size": 42, "edge": BLUE, "width": 1.6},
    "within": {"shape": "circle", "size": 46, "fill": BLUE, "width": 0.6},
    "above": {"shape": "triangle-up", "size": 110, "fill": VERMILLION},
    "below": {"shape": "triangle-down", "size": 110, "fill": VERMILLION},
}


def _kind(point: Point) -> str:
    return "baseline" if point.is_baseline else point.beyond or "within"


def _limits(point: Point) -> list[tuple[float, str, str]]:
    """Place, name and dashes of the centre line and the limits; nothing while there are too few sessions."""
    rows = ((point.upper_limit_value, "limit"), (point.centre_value, "centre"), (point.lower_limit_value, "limit"))
    return [(value, name, "5 4" if name == "limit" else "") for value, name in rows if value is not None]


def summary(points: Sequence[Point]) -> str:
    """The chart in words."""
    first, unit = points[0], f" {points[0].unit_code}" if points[0].unit_code else ""
    known = [p.measured_value for p in points]
    text = f"{len(points)} sessions between {min(known):.4g} and {max(known):.4g}{unit}."
    if first.centre_value is None:
        return text + " Too few sessions for limits."
    low, high = first.lower_limit_value, first.upper_limit_value
    text += f" Centre {first.centre_value:.4g}, limits {low:.4g} and {high:.4g}{unit}, from the first sessions."
    beyond = [p for p in points if p.beyond]
    told = ", ".join(f"session {p.point_number} ({p.measured_value:.4g}{unit}, {p.beyond})" for p in beyond)
    return text + (f" Beyond the limits: {told}." if beyond else " No later session lies beyond the limits.")
