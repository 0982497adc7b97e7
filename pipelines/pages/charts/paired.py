"""Drawing of both sides of every runner's difference: a line for each, the sites beside each other."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, SIZE, VERMILLION, shortened, width_of
from pipelines.pages.charts.scale import Scale, roomy
from pipelines.pages.words import counted, signed

_HEIGHT, _ABOVE, _PANEL, _BETWEEN, _WIDTH = 200, 46, 82, 16, 350
#: More runners at a site than these make one grey area of their lines: every so manieth is drawn.
MOST_LINES = 60
Pair = tuple[float, float]  # reference, condition


def paired_chart(
    what: str, unit: str, sides: tuple[str, str], sites: Sequence[tuple[str, Sequence[Pair]]], key: str, *, digits: int
) -> Markup:
    """The chart. sides: words for reference and condition. sites: name and the pairs of its runners, none empty."""
    bottom = _ABOVE + _HEIGHT
    up = Scale(*roomy([value for _, pairs in sites for pair in pairs for value in pair], part=0.05), bottom, _ABOVE)
    heights = up.ticks(5)
    left = EDGE + axis.left_room(heights, unit)
    width = max(_WIDTH, left + len(sites) * (_PANEL + _BETWEEN) + EDGE)
    legend = f"Left: {sides[0]}; right: {sides[1]}"
    parts = [
        marks.text((EDGE, SIZE + 2), shortened(marks.clean(legend), width - 2 * EDGE), colour=MUTED),
        *axis.left(up, left, heights, unit, grid_to=width - EDGE),
    ]
    told = []
    for place, (site, pairs) in enumerate(sites):
        start = left + _BETWEEN / 2 + place * (_PANEL + _BETWEEN) + 8
        ends = start, start + _PANEL - 16
        shown = pairs[:: -(-len(pairs) // MOST_LINES)]
        parts += [_line(ends, pair, up) for pair in shown]
        means = sum(r for r, _ in pairs) / len(pairs), sum(c for _, c in pairs) / len(pairs)
        parts.append(marks.line([(x, up(v)) for x, v in zip(ends, means, strict=True)], colour=VERMILLION, width=3.2))
        label = shortened(marks.clean(f"{site}, n = {len(pairs)}"), _PANEL + _BETWEEN - 4)
        middle = min(max(sum(ends) / 2, left + width_of(label) / 2), width - EDGE - width_of(label) / 2)
        parts.append(marks.text((middle, bottom + SIZE + 4), label, anchor="middle"))
        more = sum(c > r for r, c in pairs)
        mean = signed(means[1] - means[0], digits)
        told.append(f"{site}: mean difference {mean} of {counted(len(pairs), 'runner')}, {more} of them with more")
    parts.append(marks.rule((left, bottom), (width - EDGE, bottom), colour=INK))
    said = f"{legend}. Thin lines are runners, thick lines the means of sites. {'; '.join(told)}."
    return marks.svg(width, bottom + SIZE + 12 + EDGE, parts, key, f"{what}: both sides of every runner", said)


def _line(ends: tuple[float, float], pair: Pair, up: Scale) -> str:
    return marks.rule((ends[0], up(pair[0])), (ends[1], up(pair[1])), colour=BLUE, width=1.2, opacity=0.55)
