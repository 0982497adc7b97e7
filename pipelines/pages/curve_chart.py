"""Drawing of one mean curve with its spread between runners, the reference condition's mean behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from pipelines.pages.curves import Curve, Quantity
from pipelines.pages.drawing import BLUE, INK, MUTED, clean, svg, values
from pipelines.pages.words import counted

_WIDTH, _HEIGHT = 284, 180


def curve_range(curves: Sequence[Curve]) -> list[float]:
    """Lowest and highest end of all bands, zero included, so that the panels of one quantity share an axis."""
    ends = [end for curve in curves for _, mean, sd in curve.points for end in (mean - (sd or 0), mean + (sd or 0))]
    low, high = min([0.0, *ends]), max([0.0, *ends])
    room = 0.05 * ((high - low) or 1.0)
    return [low - room if low < 0 else 0.0, high + room]


def curve_chart(quantity: Quantity, curve: Curve, reference: Curve | None, domain: Sequence[float], key: str) -> Markup:
    """One panel.

    reference: drawn dashed behind any other curve; None if it has no curve of this quantity. domain: of the vertical
    axis. key: makes the ids of the drawing unique on its page.
    """
    import altair as alt

    across = alt.X(
        field="percent",
        type="quantitative",
        title="Part of contact (%)",
        scale=alt.Scale(domain=[0, 100], nice=False),
        axis=alt.Axis(values=[0, 25, 50, 75, 100], grid=False),
    )
    up = alt.Y(
        field="mean",
        type="quantitative",
        title=None,
        scale=alt.Scale(domain=list(domain), nice=False, zero=False),
        axis=alt.Axis(tickCount=5),
    )
    band = [{"percent": p, "low": mean - sd, "high": mean + sd} for p, mean, sd in curve.points if sd is not None]
    layers: list[Any] = [
        alt.Chart(values(band))
        .mark_area(color=BLUE, opacity=0.22)
        .encode(x=across, y=alt.Y(field="low", type="quantitative"), y2=alt.Y2(field="high")),
    ]
    if reference is not None and reference is not curve:
        layers.append(
            alt.Chart(values(_line(reference)))
            .mark_line(color=INK, strokeWidth=1.5, strokeDash=[5, 3])
            .encode(x=across, y=up)
        )
    layers.append(alt.Chart(values(_line(curve))).mark_line(color=BLUE, strokeWidth=2.4).encode(x=across, y=up))
    of_reference = f"dashed: {_plain(reference.condition)}" if reference else "the reference has no such curve"
    behind = "the reference" if curve is reference else of_reference
    title = alt.TitleParams(
        text=clean(f"{_plain(curve.condition)}, {counted(curve.runners, 'runner')}"),
        subtitle=clean(behind),
        anchor="start",
        fontSize=13,
        color=INK,
        subtitleFontSize=12,
        subtitleColor=MUTED,
        offset=6,
        limit=_WIDTH,
    )
    chart = alt.layer(*layers).properties(width=_WIDTH, height=_HEIGHT, title=title)
    return svg(chart, key, f"{quantity.title}, {_plain(curve.condition)}", _summary(quantity, curve))


def _line(curve: Curve) -> list[dict[str, Any]]:
    return [{"percent": percent, "mean": mean} for percent, mean, _ in curve.points]


def _summary(quantity: Quantity, curve: Curve) -> str:
    percent, height = curve.peak
    spreads = [sd for _, _, sd in curve.points if sd is not None]
    unit = quantity.unit if quantity.unit == "°" else f" {quantity.unit}"
    text = (
        f"Mean over {counted(curve.runners, 'runner')}, highest at {percent} % of contact "
        f"with {height:.{quantity.digits}f}{unit}."
    )
    if not spreads:
        return text + " No spread with a single runner."
    widest = f"{max(spreads):.{quantity.digits}f}{unit}"
    return f"{text} The standard deviation between runners is at most {widest}."


def _plain(word: str) -> str:
    return word.replace("_", " ")
