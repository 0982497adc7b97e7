"""Power by runners at each site, a line for each number of sites; each line carries its number at its end."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, SIZE, VERMILLION
from pipelines.pages.charts.scale import Scale
from pipelines.science.statistics.power import Components, power

_WIDTH, _HEIGHT, _ABOVE, _RIGHT = 560, 320, 46, 74


def power_chart(
    title: str, effect: float, components: Components, sites: Sequence[int], aim: float, most: int
) -> Markup:
    """The chart. most: runners at each site, at the right end. aim: drawn as a dashed line."""
    bottom = _ABOVE + _HEIGHT
    up = Scale(0, 1, bottom, _ABOVE)
    heights = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
    across = Scale(2, most, EDGE + axis.left_room(heights, "Power"), _WIDTH - EDGE - _RIGHT)
    parts = [
        marks.text((EDGE, SIZE + 2), marks.clean(title), bold=True),
        marks.text((EDGE, 2 * SIZE + 7), f"True difference {effect:g}, 5 % two-sided", colour=MUTED),
        *axis.left(up, across.start, heights, "Power", grid_to=across.end),
        *axis.below(across, bottom, across.ticks(6, whole=True), "Runners at each site"),
        marks.rule((across.start, up(aim)), (across.end, up(aim)), colour=VERMILLION, dash="5 3", width=1.4),
    ]
    ends: list[float] = []
    for count in sorted(sites, key=lambda count: -power(effect, components, count, most)):
        reached = [(n, power(effect, components, count, n)) for n in range(2, most + 1)]
        parts.append(marks.line([(across(n), up(p)) for n, p in reached], colour=BLUE, width=1.8))
        wanted = up(reached[-1][1]) + SIZE * 0.35
        ends.append(max(wanted, ends[-1] + SIZE + 1) if ends else wanted)
        parts.append(marks.text((across.end + 6, ends[-1]), f"{count} sites", colour=INK))
    height = max(bottom + axis.BELOW_TITLED, *ends) + EDGE
    told = "; ".join(f"{count} sites, {most} at each: {power(effect, components, count, most):.2f}" for count in sites)
    return marks.svg(_WIDTH, height, parts, "power", title, f"Power by runners at each site. {told}.")
