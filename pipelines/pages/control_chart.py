"""Drawing of a control chart: a site's sessions in order, with the centre and limits of its own first sessions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from pipelines.pages.drawing import BLUE, INK, MUTED, VERMILLION, svg, values
from pipelines.pages.whole_sites import Point, quantity_words

if TYPE_CHECKING:
    import altair as alt

_WIDTH, _HEIGHT = 262, 160
#: More sessions than these are not drawn, so that points stay apart on a phone; the newest are kept.
MOST_DRAWN = 60


def control_chart_drawing(points: Sequence[Point], key: str) -> Markup:
    """The chart of one quantity of one site.

    points: at least one, in order. Rings made the limits, dots came later, triangles lie beyond a limit and point to
    it. key: makes the ids of the drawing unique on its page.
    """
    import altair as alt

    shown = list(points)[-MOST_DRAWN:]
    first = shown[0]
    title, _, axis_title = quantity_words(first.quantity)
    across = alt.X(
        field="number",
        type="quantitative",
        title="Session, in order of deliveries",
        scale=alt.Scale(domain=[shown[0].point_number - 0.5, shown[-1].point_number + 0.5], nice=False, zero=False),
        axis=alt.Axis(tickCount=min(6, len(shown)), tickMinStep=1, format="d", grid=False),
    )
    up = alt.Y(
        field="value",
        type="quantitative",
        title=axis_title,
        scale=alt.Scale(domain=_domain(shown), nice=False, zero=False),
        axis=alt.Axis(tickCount=5),
    )
    data = alt.Chart(values([_drawn(p) for p in shown]))
    layers = [*_limit_layers(first, up), data.mark_line(color=MUTED, strokeWidth=0.8).encode(x=across, y=up)]
    layers += [_marks(data, kind, look).encode(x=across, y=up) for kind, look in _LOOKS.items()]
    chart = alt.layer(*layers).properties(width=_WIDTH, height=_HEIGHT)
    return svg(chart, key, f"{title}, session by session, at {first.site}", summary(shown))


_LOOKS: dict[str, dict[str, Any]] = {
    "baseline": {"shape": "circle", "size": 42, "filled": False, "color": BLUE, "strokeWidth": 1.6},
    "within": {"shape": "circle", "size": 46, "filled": True, "color": BLUE, "stroke": INK, "strokeWidth": 0.6},
    "above": {"shape": "triangle-up", "size": 110, "filled": True, "color": VERMILLION, "stroke": INK},
    "below": {"shape": "triangle-down", "size": 110, "filled": True, "color": VERMILLION, "stroke": INK},
}


def _marks(data: alt.Chart, kind: str, look: dict[str, Any]) -> alt.Chart:
    return data.mark_point(opacity=1, **look).transform_filter(f"datum.kind == '{kind}'")


def _limit_layers(point: Point, up: alt.Y) -> list[alt.Chart]:
    """Centre line and limits with their names at the right-hand edge."""
    import altair as alt

    if point.centre_value is None:
        return []
    rows: list[dict[str, Any]] = [
        {"value": point.upper_limit_value, "name": "limit"},
        {"value": point.centre_value, "name": "centre"},
        {"value": point.lower_limit_value, "name": "limit"},
    ]
    data = alt.Chart(values(rows))
    names = data.mark_text(align="right", baseline="bottom", dy=-2, color=INK, fontSize=11)
    return [
        data.mark_rule(color=INK, strokeWidth=1.2).encode(y=up).transform_filter("datum.name == 'centre'"),
        data.mark_rule(color=INK, strokeWidth=1.2, strokeDash=[5, 4])
        .encode(y=up)
        .transform_filter("datum.name == 'limit'"),
        names.encode(x=alt.value(_WIDTH), y=up, text=alt.Text(field="name", type="nominal")),
    ]


def _drawn(point: Point) -> dict[str, Any]:
    kind = "baseline" if point.is_baseline else point.beyond or "within"
    return {"number": point.point_number, "value": point.measured_value, "kind": kind}


def _domain(points: Sequence[Point]) -> list[float]:
    ends = [p.measured_value for p in points]
    ends += [v for v in (points[0].lower_limit_value, points[0].upper_limit_value) if v is not None]
    room = 0.12 * (max(ends) - min(ends)) or 0.05 * abs(ends[0]) or 1.0
    return [min(ends) - room, max(ends) + room]


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
