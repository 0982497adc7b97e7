"""Drawing of a mean difference curve with the band that holds the whole of it, and zero."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, SIZE, VERMILLION, shortened
from pipelines.pages.charts.scale import Scale, roomy

_WIDTH, _HEIGHT, _ABOVE = 330, 180, 42
_BEYOND_AT = 6
Point = tuple[int, float, float, float]  # number, mean difference, lower and upper end of the band


def band_chart(title: str, words: str, unit: str, points: Sequence[Point], key: str) -> Markup:
    """The chart. words: what is compared. points: 0 to 100 % of contact; key: makes the ids of the drawing unique."""
    bottom = _ABOVE + _HEIGHT
    up = Scale(*roomy([end for _, _, *ends in points for end in ends], part=0.06, with_zero=True), bottom, _ABOVE)
    heights = up.ticks(5)
    across = Scale(0, 100, EDGE + axis.left_room(heights, unit), _WIDTH - EDGE - 14)
    upper = [(across(n), up(high)) for n, _, _, high in points]
    lower = [(across(n), up(low)) for n, _, low, _ in points]
    beyond = [(across(n), bottom - _BEYOND_AT) if low > 0 or high < 0 else None for n, _, low, high in points]
    parts = [
        marks.text((EDGE, SIZE + 2), shortened(marks.clean(title), _WIDTH - 2 * EDGE, bold=True), bold=True),
        marks.text((EDGE, 2 * SIZE + 5), shortened(marks.clean(words), _WIDTH - 2 * EDGE), colour=MUTED),
        *axis.left(up, across.start, heights, unit, grid_to=across.end),
        *axis.below(across, bottom, (0, 25, 50, 75, 100), "Part of contact (%)"),
        marks.area(upper, lower, fill=BLUE, opacity=0.22),
        marks.rule((across.start, up(0)), (across.end, up(0)), colour=INK, width=1.4),
        marks.line([(across(n), up(mean)) for n, mean, _, _ in points], colour=BLUE, width=2.4),
        marks.line(beyond, colour=VERMILLION, width=4),
    ]
    there = sum(place is not None for place in beyond)
    largest = max(points, key=lambda point: abs(point[1]))
    said = f"Mean difference with its band; the largest is {largest[1]:.3g} {unit} at {largest[0]} %. "
    said += f"The band leaves out zero at {there} of {len(points)} points, which are marked below."
    return marks.svg(_WIDTH, bottom + axis.BELOW_TITLED + EDGE, parts, key, f"{title}: {words}", said)
