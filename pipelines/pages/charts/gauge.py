"""A panel of one number: where it lies beside what is expected of it, and beside others like it, on one line."""

from __future__ import annotations

import math

from checks.evidence import Panel, Part, Role
from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.evidence_words import expected_words, panel_words, unit_title
from pipelines.pages.charts.legend import BAND, BAND_EDGE, ROW, legend
from pipelines.pages.charts.look import BLUE, EDGE, VERMILLION, width_of
from pipelines.pages.charts.scale import Scale, roomy

_WIDTH, _HEIGHT, _ABOVE = 350, 34, 18
#: Own choice: what differs by less of its size cannot be seen on an axis that begins at zero.
_TOLD_APART = 0.1


def gauge(panel: Panel) -> tuple[float, float, list[str]]:
    """Width, height and parts of the drawing."""
    (value,) = panel.numbers
    low, high = panel.expected or (math.nan, math.nan)
    drawn, top = legend((), EDGE, _WIDTH, expected_words(panel))
    beside = [part for part in panel.parts if part.role is Role.BESIDE]
    for part in beside:
        drawn += _named(part, top)
        top += ROW
    top += _ABOVE
    ends = [end for end in (low, high) if math.isfinite(end)]
    others = [y for part in beside for _, y in part.points if math.isfinite(y)]
    near = [value, *ends, *others]
    told_apart = max(near) - min(near) > _TOLD_APART * max(map(abs, near))  # else zero is left out
    across = Scale(*roomy([*near, 0.0] if told_apart else near, part=0.08), EDGE + 12, _WIDTH - EDGE - 22)
    if ends:
        a, b = (across(min(max(end, across.low), across.high)) for end in (low, high))
        drawn.append(marks.box((a, top), b - a, _HEIGHT, fill=BAND, name="expected"))
        for end in ends:
            x = across(end)
            drawn.append(marks.rule((x, top), (x, top + _HEIGHT), colour=BAND_EDGE, width=1.4, dash="6 3"))
    words, x = panel_words(panel, value), across(value)
    half = width_of(words, bold=True) / 2
    drawn += [_other((across(other), top + _HEIGHT / 2)) for other in others]
    fill, middle = VERMILLION if panel.beyond else BLUE, min(max(x, EDGE + half), _WIDTH - EDGE - half)
    drawn.append(marks.mark("diamond", (x, top + _HEIGHT / 2), 120, fill=fill, width=0.8))
    drawn.append(marks.text((middle, top - 5), words, anchor="middle", bold=True))
    unit = unit_title(panel.unit)
    drawn += axis.below(across, top + _HEIGHT, across.ticks(5), unit)
    return _WIDTH, top + _HEIGHT + axis.BELOW_TITLED + EDGE, drawn


def _named(part: Part, top: float) -> list[str]:
    at = (EDGE + 15.0, top + ROW / 2)
    return [_other(at), marks.text((EDGE + 36, top + ROW - 5), marks.clean(part.name))]


def _other(at: tuple[float, float]) -> str:
    """A value to compare with: hollow, so that it is never taken for the one that was found."""
    return marks.mark("circle", at, 60, fill="#ffffff", width=1.6)
