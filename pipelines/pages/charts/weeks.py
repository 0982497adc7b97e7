"""Drawing of one runner's weeks of the change-over: minutes as bars, the new footwear's part dark, symptoms above."""

from __future__ import annotations

from collections.abc import Mapping

from markupsafe import Markup

from pipelines.pages.change_over import Week
from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, MUTED, SIZE
from pipelines.pages.charts.scale import Scale

_STEP, _BAR, _HEIGHT, _SMALL = 29, 22, 160, SIZE
_LIGHT = "#e4dfd2"
#: Room above the highest bar for its number and the severity, as part of it.
_ROOM = 1.42


def week_chart(runner: str, weeks: Mapping[int, Week], span: range, key: str) -> Markup:
    """Minutes per week, the share in the new footwear above each bar, severity at the top, missing weeks framed.

    span: the weeks of the axis. key: makes the ids of the drawing unique on its page.
    """
    tallest = max((w.running_min for w in weeks.values() if w.running_min is not None), default=0.0) or 60.0
    bottom = EDGE + _HEIGHT
    up = Scale(0, tallest * _ROOM, bottom, EDGE)
    heights = up.ticks(4)
    left = EDGE + axis.left_room(heights, "Minutes run")
    end = left + _STEP * len(span)
    parts = axis.left(up, left, heights, "Minutes run", grid_to=end)
    parts.append(marks.rule((left, bottom), (end, bottom), colour=MUTED))
    for place, number in enumerate(span):
        middle = left + _STEP * (place + 0.5)
        parts += _week(weeks.get(number), middle, up, tallest)
        parts.append(marks.text((middle, bottom + SIZE + 4), str(number), anchor="middle"))
    parts.append(marks.text(((left + end) / 2, bottom + 2 * SIZE + 12), "Week", anchor="middle"))
    return marks.svg(
        end + EDGE, bottom + axis.BELOW_TITLED + EDGE, parts, key, f"Weeks of {runner}", weeks_words(weeks, span)
    )


def _week(week: Week | None, middle: float, up: Scale, tallest: float) -> list[str]:
    """One week's bars, or a frame where there is no log, and what is said of it."""

    def bar(minutes: float, **look: str) -> str:
        return marks.box((middle - _BAR / 2, up(minutes)), _BAR, up(0) - up(minutes), **look)

    def said(y: float, words: str, *, bold: bool = False) -> str:
        return marks.text((middle, y), words, anchor="middle", size=_SMALL, bold=bold)

    parts = []
    if week is None or week.running_min is None:
        words = "no log" if week is not None and not week.nothing else "no report"
        parts.append(bar(tallest, edge=MUTED, dash="3 3"))
        place = (middle + _SMALL * 0.35, up(tallest / 2))
        parts.append(marks.text(place, words, anchor="middle", size=_SMALL, turned=True))
    else:
        parts.append(bar(week.running_min, fill=_LIGHT, edge=MUTED))
        if week.new_footwear_min is not None:
            parts.append(bar(week.new_footwear_min, fill=BLUE))
        if week.new_footwear_fraction is not None:
            parts.append(said(up(week.running_min) - 4, f"{100 * week.new_footwear_fraction:.0f}"))
    if week is not None and week.problem:
        sign, severity = week.problem  # below each other, so that those of two weeks do not meet
        parts += [said(up.end + 10, sign, bold=True), said(up.end + 14 + _SMALL, str(severity), bold=True)]
    elif week is not None and week.running_min is not None and week.symptom_severity_score is None:
        parts.append(said(up.end + 9, "?", bold=True))
    return parts


def weeks_words(weeks: Mapping[int, Week], span: range) -> str:
    """All weeks of a drawing in words."""
    return " ".join(f"Week {number}: {week_words(weeks.get(number))}." for number in span)


def week_words(week: Week | None) -> str:
    """One week in words: "158 min, 75 % in the new footwear, health problem, severity 24"."""
    if week is None or week.nothing:
        return "no report"
    parts = ["no running log" if week.running_min is None else f"{week.running_min:.0f} min"]
    if week.new_footwear_fraction is not None:
        parts.append(f"{100 * week.new_footwear_fraction:.0f} % in the new footwear")
    if week.problem:
        kind = "substantial health problem" if week.substantial_problem else "health problem"
        parts.append(f"{kind}, severity {week.problem[1]}")
    elif week.symptom_severity_score is None:
        parts.append("no symptom score")
    return ", ".join(parts)
