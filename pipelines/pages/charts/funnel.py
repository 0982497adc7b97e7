"""Funnel of sites: each site's difference against its standard error, and where sites that do not differ would lie."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, SITE_SHAPES, SIZE, VERMILLION, shortened
from pipelines.pages.charts.scale import Scale, roomy
from pipelines.pages.words import signed

_WIDTH, _HEIGHT, _ABOVE = 350, 190, 26
_NORMAL = 1.96
Place = tuple[str, float, float]  # site, difference, its standard error


def funnel_chart(what: str, unit: str, sites: Sequence[Place], pooled: float, key: str, *, digits: int) -> Markup:
    """The chart. sites: at least one, errors above zero. pooled: the answer as planned, the middle of the funnel."""
    most = 1.1 * max(error for _, _, error in sites)
    ends = [pooled - _NORMAL * most, pooled + _NORMAL * most, *(value for _, value, _ in sites)]
    bottom = _ABOVE + _HEIGHT
    down = Scale(0, most, _ABOVE, bottom)
    heights = down.ticks(4)
    across = Scale(*roomy(ends, part=0.04), EDGE + axis.left_room(heights, "Standard error"), _WIDTH - EDGE - 10)
    tip, feet = (across(pooled), down(0)), [(across(pooled + side * _NORMAL * most), bottom) for side in (-1, 1)]
    parts = [
        *axis.left(down, across.start, heights, "Standard error"),
        *axis.below(across, bottom, across.ticks(5), f"Difference ({unit})" if unit else "Difference"),
        marks.rule(tip, (tip[0], bottom), colour=VERMILLION, width=1.6),
        *(marks.rule(tip, foot, colour=MUTED, dash="5 3") for foot in feet),
    ]
    for number, (site, value, error) in enumerate(sites):
        at = across(value), down(error)
        parts.append(marks.mark(SITE_SHAPES[number % len(SITE_SHAPES)], at, 80, fill=BLUE))
        right = at[0] < (across.start + across.end) / 2
        label = shortened(marks.clean(site), 120)
        beside = (at[0] + (9 if right else -9), at[1] + SIZE * 0.3)
        parts.append(marks.text(beside, label, anchor="start" if right else "end", colour=INK))
    outside = [site for site, value, error in sites if abs(value - pooled) > _NORMAL * error]
    told = "; ".join(f"{s} {signed(v, digits)}, standard error {e:.{digits}f}" for s, v, e in sites)
    said = f"{told}. Outside of where 95 % would lie if sites did not differ: {', '.join(outside) or 'none'}."
    return marks.svg(_WIDTH, bottom + axis.BELOW_TITLED + EDGE, parts, key, f"{what}: sites", said)
