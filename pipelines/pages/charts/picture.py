"""Pictures that prove a fault, drawn: a drawing for each panel, the words above it and the words for who hears it.

What is drawn how is in ``over_axes``, ``gauge``, ``places`` and ``clocks``; what parts mean is in ``checks.evidence``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from markupsafe import Markup

from checks.evidence import Kind, Panel, Picture, Role
from pipelines.pages.charts import marks
from pipelines.pages.charts.clocks import clocks
from pipelines.pages.charts.evidence_words import expected_words, panel_words, said_in
from pipelines.pages.charts.gauge import gauge
from pipelines.pages.charts.over_axes import over_axes
from pipelines.pages.charts.places import places


@dataclass(frozen=True)
class Drawing:
    """A chart and the words above it."""

    svg: Markup
    caption: str


def drawings(picture: Picture, moment_s: float | None, key: str) -> list[Drawing]:
    """The drawings of a picture, in order; panels without any point are left out.

    moment_s: of the finding, marked in what is drawn over time. key: makes the ids of the drawings unique on a page.
    """
    found = []
    for number, panel in enumerate(map(_drawable, picture.panels)):
        if any(math.isfinite(x) for part in panel.parts if part.role is not Role.EXPECTED for x, _ in part.points):
            found.append(Drawing(_drawn(panel, moment_s, f"{key}-{number}"), _caption(panel)))
    return found


def _drawable(panel: Panel) -> Panel:
    """The panel without points that have no place; a gap in a line stays one."""
    plane = panel.kind in (Kind.FROM_ABOVE, Kind.FROM_SIDE)
    parts = []
    for part in panel.parts:
        whole = part.role in (Role.VALUE, Role.STICK, Role.OUTLINE)
        line = part.role in (Role.LINE, Role.BESIDE)
        kept = tuple(
            (x, y)
            for x, y in part.points
            if not (whole and math.isnan(x + y)) and not (line and not plane and math.isnan(x))
        )
        if kept and not (plane and part.role in (Role.CONTACT, Role.SPAN)):
            parts.append(replace(part, points=kept))
    return replace(panel, parts=tuple(parts)) if plane else _readable(replace(panel, parts=tuple(parts)))


def _readable(panel: Panel) -> Panel:
    """What stands upwards in the unit that its numbers are said in, so that an axis says what stands beside it."""
    upwards = (Role.LINE, Role.BESIDE, Role.VALUE, Role.EXPECTED)
    if panel.kind is Kind.TWO_CLOCKS:
        return panel
    factor, unit = said_in(panel.unit, [y for part in panel.parts if part.role in upwards for _, y in part.points])
    measured = any(part.role is Role.MEASURE for part in panel.parts)
    scaled = (Role.LINE, Role.BESIDE, Role.VALUE) if measured else upwards
    parts = (
        replace(part, points=tuple((x, factor * y) for x, y in part.points)) if part.role in scaled else part
        for part in panel.parts
    )
    return replace(panel, unit=unit, parts=tuple(parts)) if factor != 1 else panel


def _drawn(panel: Panel, moment_s: float | None, key: str) -> Markup:
    if panel.kind in (Kind.FROM_ABOVE, Kind.FROM_SIDE):
        width, height, parts = places(panel)
    elif panel.kind is Kind.TWO_CLOCKS:
        width, height, parts = clocks(panel)
    elif panel.kind is Kind.ONE_BY_ONE and len(panel.numbers) == 1:
        width, height, parts = gauge(panel)
    else:
        width, height, parts = over_axes(panel, moment_s)
    return marks.svg(width, height, parts, key, panel.title, _summary(panel, moment_s))


def _caption(panel: Panel) -> str:
    gap = any(p.role is Role.LINE and any(math.isnan(y) for _, y in p.points) for p in panel.parts)
    over = panel.kind is Kind.OVER_TIME
    return f"{panel.title}. Shaded without a letter: no value." if gap and over else f"{panel.title}."


def _summary(panel: Panel, moment_s: float | None) -> str:
    numbers = panel.numbers
    text = ""
    if numbers:
        low, high = (panel_words(panel, end) for end in (min(numbers), max(numbers)))
        text = f"Drawn: {low}. " if low == high else f"Drawn: {low} to {high}. "
    elif panel.kind is Kind.OVER_TIME:
        text = "The signal has no values in this stretch. "
    if panel.expected is not None:
        text += f"Expected: {expected_words(panel)}. "
    if moment_s is not None and panel.kind is Kind.OVER_TIME:
        text += f"The finding is at {moment_s:.3f} s."
    return text.strip()
