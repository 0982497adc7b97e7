"""One runner's weeks as a row of small columns with severity as a line, so that it stands in a table's cell."""

from __future__ import annotations

from collections.abc import Mapping

from markupsafe import Markup

from pipelines.pages.change_over import Week
from pipelines.pages.charts import marks
from pipelines.pages.charts.look import INK, MUTED
from pipelines.pages.charts.weeks import weeks_words

_STEP, _HEIGHT, _FOOT, _HEAD = 15.0, 46.0, 3.0, 6.0
_LIGHT, _NEW, _WHOLE = "#f2efe6", "#9cc8e2", 100.0  # light, so that the line can be seen


def trend_chart(runner: str, weeks: Mapping[int, Week], span: range, key: str) -> Markup:
    """Minutes of each week, the new footwear's part tinted, and the severity of problems from 0 at the bottom to 100.

    A week without a log has no column, one without a score breaks the line. span: the weeks drawn. key: makes ids
    unique on the page.
    """
    tallest = max((w.running_min for w in weeks.values() if w.running_min is not None), default=0.0) or 1.0
    bottom, room = _HEIGHT - _FOOT, _HEIGHT - _FOOT - _HEAD
    wide = _STEP * len(span)
    parts = [marks.rule((0, bottom), (wide, bottom), colour=MUTED)]
    severity: list[marks.Place | None] = []
    signs = []
    for place, number in enumerate(span):
        week = weeks.get(number)
        for minutes, fill in ((week.running_min, _LIGHT), (week.new_footwear_min, _NEW)) if week is not None else ():
            tall = room * (minutes or 0.0) / tallest
            if tall:
                corner = (place * _STEP + 2, bottom - tall)
                parts.append(marks.box(corner, _STEP - 4, tall, fill=fill, edge=MUTED))
        score = week.symptom_severity_score if week is not None else None
        at = (place * _STEP + _STEP / 2, bottom - room * (score or 0.0) / _WHOLE)
        severity.append(at if score is not None else None)
        if week is not None and week.problem:
            shape = "square" if week.substantial_problem else "triangle-up"
            signs.append(marks.mark(shape, at, 42, fill="#ffffff", edge=INK, width=1.6))
    parts += [marks.line(severity, colour=INK, width=1.4), *signs]
    return marks.svg(wide, _HEIGHT, parts, key, f"Trend of {runner}", weeks_words(weeks, span))
