"""One outcome by condition and site: runners as small rings, their mean as a large mark, one SD to either side."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Sequence

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, MUTED, SITE_COLOURS, SITE_SHAPES, SIZE, shortened, width_of
from pipelines.pages.charts.scale import Scale, roomy
from pipelines.pages.outcomes_shown import Outcome

_WIDTH, _STEP, _HEADING, _BETWEEN = 350, 28, 22, 6
_LONGEST_NAME, _OTHERS = 120, "#6b7780"
_MEAN_UP, _RUNNERS_DOWN = -3, 8
#: More runners of one condition at one site are not drawn each: rings would only cover one another.
MOST_RINGS = 24
Means = Sequence[tuple[str, str, float]]


def outcome_chart(
    outcome: Outcome,
    means: Means,
    conditions: Sequence[str],
    sites: Sequence[str],
    key: str,
    *,
    own: str | None = None,
) -> Markup:
    """A panel per condition, one axis for all.

    means: (site, condition, mean of one runner). own: the site that is brought out against the others.
    """
    found = {
        (condition, site): [v for s, c, v in means if (s, c) == (site, condition) and math.isfinite(v)]
        for condition in conditions
        for site in sites
    }
    ends = [end for values in found.values() if values for end in (*values, *_spread(values))]
    low, high = roomy(ends, part=0.08)
    names = [shortened(marks.clean(site), _LONGEST_NAME) for site in sites]
    across = Scale(low, high, EDGE + max(map(width_of, names), default=0) + 8, _WIDTH - EDGE - 12)
    ticks = across.ticks(5)
    parts: list[str] = []
    top = float(EDGE)
    for number, condition in enumerate(conditions):
        plot, last = top + _HEADING, number == len(conditions) - 1
        bottom = plot + _STEP * len(sites)
        heading = shortened(marks.clean(_plain(condition)), _WIDTH - across.start, bold=True)
        parts.append(marks.text((across.start, top + SIZE), heading, bold=True))
        parts += [marks.rule((across(t), plot), (across(t), bottom), colour="#e7e3d8") for t in ticks]
        for place, site in enumerate(sites):
            look = (_colour(place, site, own), SITE_SHAPES[place % len(SITE_SHAPES)])
            middle = plot + _STEP * (place + 0.5)
            parts.append(marks.text((across.start - 8, middle + SIZE * 0.35), names[place], anchor="end"))
            parts += _row(found[condition, site], across, middle, *look)
        if last:
            parts += axis.below(across, bottom, ticks, outcome.axis)
        top = bottom + _BETWEEN
    height = top - _BETWEEN + axis.BELOW_TITLED + EDGE
    title = f"{outcome.title} by condition and site"
    return marks.svg(_WIDTH, height, parts, key, title, _summary(outcome, found))


def _colour(place: int, site: str, own: str | None) -> str:
    if own:
        return BLUE if site == own else _OTHERS
    return SITE_COLOURS[place % len(SITE_COLOURS)]


def _row(values: Sequence[float], across: Scale, middle: float, colour: str, shape: str) -> list[str]:
    if not values:
        return [marks.text((across.start + 6, middle + 4), "no value", colour=MUTED)]
    low, high = _spread(values)
    up = middle + _MEAN_UP
    parts = [marks.rule((across(low), up), (across(high), up), colour=colour, width=5, opacity=0.4)]
    parts += [
        marks.mark("circle", (across(v), middle + _RUNNERS_DOWN), 26, edge=colour, width=1.3, opacity=0.9)
        for v in _drawn(values)
    ]
    return [*parts, marks.mark(shape, (across(statistics.fmean(values)), up), 100, fill=colour)]


def _drawn(values: Sequence[float]) -> list[float]:
    """All values, or of many so many evenly along their order, the least and the greatest among them."""
    ordered = sorted(values)
    if len(ordered) <= MOST_RINGS:
        return ordered
    return [ordered[round(n * (len(ordered) - 1) / (MOST_RINGS - 1))] for n in range(MOST_RINGS)]


def is_crowded(means: Means) -> bool:
    """Whether of some condition at some site not all runners are drawn."""
    return max(Counter((site, condition) for site, condition, _ in means).values(), default=0) > MOST_RINGS


def _spread(values: Sequence[float]) -> tuple[float, float]:
    """One standard deviation to either side of the mean; the mean itself of a single runner."""
    mean, spread = statistics.fmean(values), statistics.stdev(values) if len(values) > 1 else 0.0
    return mean - spread, mean + spread


def _summary(outcome: Outcome, found: dict[tuple[str, str], list[float]]) -> str:
    return " ".join(
        f"{_plain(condition)}, {site}: {statistics.fmean(own):.{outcome.digits}f} {outcome.unit}, n = {len(own)}."
        for (condition, site), own in found.items()
        if own
    )


def _plain(word: str) -> str:
    return word.replace("_", " ")
