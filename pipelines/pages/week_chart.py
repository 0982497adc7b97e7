"""Drawing of one runner's weeks of the change-over: minutes as bars, the new footwear's part dark, symptoms above."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from pipelines.pages.change_over import Week
from pipelines.pages.drawing import BLUE, INK, MUTED, svg, values

if TYPE_CHECKING:
    import altair as alt

_STEP = 33
#: Room above the highest bar for its number and the severity, as part of it.
_ROOM = 1.3


def week_chart(runner: str, weeks: Mapping[int, Week], span: range, key: str) -> Markup:
    """Minutes per week, the share in the new footwear above each bar, severity at the top, missing weeks framed.

    span: the weeks of the axis. key: makes the ids of the drawing unique on its page.
    """
    import altair as alt

    tallest = max((w.running_min for w in weeks.values() if w.running_min is not None), default=0.0) or 60.0
    top = tallest * _ROOM
    data = alt.Chart(values([_drawn(week, weeks.get(week), tallest) for week in span]))
    by_week = alt.X(
        field="week",
        type="ordinal",
        sort=list(span),
        title="Week",
        scale=alt.Scale(domain=list(span), paddingInner=0.25, paddingOuter=0.12),
        axis=alt.Axis(labelAngle=0, ticks=False),
    )
    minutes = alt.Y(
        field="total",
        type="quantitative",
        title="Minutes run",
        scale=alt.Scale(domain=[0, top], nice=False),
        axis=alt.Axis(tickCount=4),
    )
    chart = alt.layer(
        data.mark_bar(color="#e4dfd2", stroke=MUTED, strokeWidth=1).encode(x=by_week, y=minutes),
        data.mark_bar(color=BLUE).encode(x=by_week, y=alt.Y(field="new", type="quantitative")),
        data.mark_bar(filled=False, stroke=MUTED, strokeWidth=1, strokeDash=[3, 3]).encode(
            x=by_week, y=alt.Y(field="frame", type="quantitative")
        ),
        _text(data, by_week, "share", dy=-8).encode(y=alt.Y(field="share_at", type="quantitative")),
        _text(data, by_week, "missing", angle=270).encode(y=alt.Y(field="middle", type="quantitative")),
        _text(data, by_week, "problem", fontWeight="bold").encode(y=alt.value(8)),
    )
    chart = chart.properties(width=_STEP * len(span), height=150)
    return svg(chart, key, f"Weeks of {runner}", _summary(weeks, span))


def _text(data: alt.Chart, by_week: alt.X, field: str, **look: Any) -> alt.Chart:
    import altair as alt

    text = data.mark_text(color=INK, fontSize=11, **look).transform_filter(f"isValid(datum.{field})")
    return text.encode(x=by_week, text=alt.Text(field=field, type="nominal"))


def _drawn(number: int, week: Week | None, tallest: float) -> dict[str, Any]:
    row: dict[str, Any] = {"week": number}
    if week is None or week.running_min is None:
        words = "no log" if week is not None and not week.nothing else "no report"
        row |= {"frame": tallest, "middle": tallest / 2, "missing": words}
    else:
        row |= {"total": week.running_min, "new": week.new_footwear_min, "share_at": week.running_min}
        if week.new_footwear_fraction is not None:
            row["share"] = f"{100 * week.new_footwear_fraction:.0f}"
    if week is not None and week.problem:
        row["problem"] = "{} {}".format(*week.problem)
    elif week is not None and week.running_min is not None and week.symptom_severity_score is None:
        row["problem"] = "?"
    return {name: value for name, value in row.items() if value is not None}


def _summary(weeks: Mapping[int, Week], span: range) -> str:
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
