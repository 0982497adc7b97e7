"""Drawing of one mean curve with its spread between runners, the reference condition's mean behind it."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, SIZE, shortened
from pipelines.pages.charts.scale import Scale
from pipelines.pages.curves import Curve, Quantity
from pipelines.pages.words import counted

_WIDTH, _HEIGHT, _ABOVE = 330, 180, 42


def curve_range(curves: Sequence[Curve]) -> tuple[float, float]:
    """Lowest and highest end of all bands, zero included, so that the panels of one quantity share an axis."""
    ends = [end for curve in curves for _, mean, sd in curve.points for end in (mean - (sd or 0), mean + (sd or 0))]
    low, high = min([0.0, *ends]), max([0.0, *ends])
    room = 0.05 * ((high - low) or 1.0)
    return (low - room if low < 0 else 0.0), high + room


def curve_chart(
    quantity: Quantity, curve: Curve, reference: Curve | None, domain: tuple[float, float], key: str
) -> Markup:
    """One panel.

    reference: drawn dashed behind any other curve; None if it has no curve of this quantity. domain: of the vertical
    axis. key: makes the ids of the drawing unique on its page.
    """
    bottom = _ABOVE + _HEIGHT
    up = Scale(*domain, bottom, _ABOVE)
    heights = up.ticks(5)
    across = Scale(0, 100, EDGE + axis.left_room(heights, None), _WIDTH - EDGE - 14)
    of_reference = f"dashed: {_plain(reference.condition)}" if reference else "the reference has no such curve"
    behind = "the reference" if curve is reference else of_reference
    title = marks.clean(f"{_plain(curve.condition)}, {counted(curve.runners, 'runner')}")
    parts = [
        marks.text((EDGE, SIZE + 2), shortened(title, _WIDTH - 2 * EDGE, bold=True), bold=True),
        marks.text((EDGE, 2 * SIZE + 5), shortened(marks.clean(behind), _WIDTH - 2 * EDGE), colour=MUTED),
        *axis.left(up, across.start, heights, None, grid_to=across.end),
        *axis.below(across, bottom, (0, 25, 50, 75, 100), "Part of contact (%)"),
    ]
    band = [(across(p), up(mean - sd), up(mean + sd)) for p, mean, sd in curve.points if sd is not None]
    if band:
        parts.append(marks.area([(x, y) for x, _, y in band], [(x, y) for x, y, _ in band], fill=BLUE, opacity=0.22))
    if reference is not None and reference is not curve:
        parts.append(marks.line(_places(reference, across, up), colour=INK, width=1.5, dash="5 3"))
    parts.append(marks.line(_places(curve, across, up), colour=BLUE, width=2.4))
    height = bottom + axis.BELOW_TITLED + EDGE
    name = f"{quantity.title}, {_plain(curve.condition)}"
    return marks.svg(_WIDTH, height, parts, key, name, _summary(quantity, curve))


def _places(curve: Curve, across: Scale, up: Scale) -> list[marks.Place]:
    return [(across(percent), up(mean)) for percent, mean, _ in curve.points]


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
