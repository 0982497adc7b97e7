"""Forest plot: the sites' estimates of one difference between conditions, and the pooled ones. Drawn with Altair.

Rows come from ``site_contrasts`` and ``pooled_contrasts``. Sites are squares, pooled estimates diamonds, and every row
carries its name and numbers, so that colour is needed for nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from markupsafe import Markup

from pipelines.pages.drawing import BLUE, INK, MUTED, VERMILLION, clean, svg, values
from pipelines.pages.words import signed

if TYPE_CHECKING:
    import altair as alt

POOLED_WORDS = {
    "mixed_model": "Mixed model",
    "random_effects_dersimonian_laird": "Random effects, DL",
    "random_effects_restricted_likelihood": "Random effects, REML",
}
_WIDTH, _ROW = 372, 42
_TEXT_UP, _MARK_DOWN = -10, 8
#: An interval that reaches further than this many times the span of all estimates and the others' intervals is cut.
_FURTHEST = 3.0


@dataclass(frozen=True)
class ForestRow:
    """One estimate with its 95 % interval; None where there is none, and ``reason`` then says why."""

    label: str
    estimate: float | None
    lower: float | None
    upper: float | None
    runners: int
    pooled: bool = False
    prediction: tuple[float, float] | None = None
    reason: str | None = None


def forest_rows(sites: Iterable[Mapping[str, Any]], pooled: Iterable[Mapping[str, Any]]) -> list[ForestRow]:
    """Rows of ``site_contrasts`` and ``pooled_contrasts`` of one comparison, sites first, in the order given."""
    rows = [
        ForestRow(row["site"], *_numbers(row), row["runner_count"], reason=_word(row["reason_null"])) for row in sites
    ]
    for row in pooled:
        ends = _number(row["prediction_lower_value"]), _number(row["prediction_upper_value"])
        rows.append(
            ForestRow(
                POOLED_WORDS.get(row["pooling_method"], row["pooling_method"]),
                *_numbers(row),
                row["runner_count"],
                pooled=True,
                prediction=None if ends[0] is None or ends[1] is None else (ends[0], ends[1]),
                reason=_word(row["reason_null"]),
            )
        )
    return rows


def forest_chart(
    what: str,
    unit: str,
    comparisons: Sequence[tuple[tuple[str, str], Sequence[ForestRow]]],
    key: str,
    *,
    digits: int,
) -> Markup:
    """The forest plot of one outcome: a panel per comparison, one axis for all.

    what, unit: the outcome in words. comparisons: (condition, reference) and its rows; above zero the condition has
    more. key: makes the ids of the drawing unique on its page. digits: after the point.
    """
    import altair as alt

    domain = _domain([row for _, rows in comparisons for row in rows])
    panels = []
    for place, (compared, rows) in enumerate(comparisons):
        last = place == len(comparisons) - 1
        drawn = [_drawn(i, row, domain, digits, unit) for i, row in enumerate(rows)]
        data = alt.Chart(values([{k: v for k, v in row.items() if v is not None} for row in drawn]))
        across = alt.X(
            field="value",
            type="quantitative",
            title=(f"Difference ({unit})" if unit else "Difference") if last else None,
            scale=alt.Scale(domain=domain, nice=False, zero=False),
            axis=alt.Axis(tickCount=5, grid=False, labels=last, ticks=last, domain=last),
        )
        by_row = alt.Y(field="row", type="ordinal", axis=None, scale=alt.Scale(paddingInner=0, paddingOuter=0))
        panel = alt.layer(*_marks(data, across, by_row), *_texts(data, by_row))
        panels.append(panel.properties(width=_WIDTH, height={"step": _ROW}, title=_heading(compared)))
    chart = alt.vconcat(*panels, spacing=16)
    less = " and ".join(" less ".join(_plain(compared)) for compared, _ in comparisons)
    return svg(chart, key, f"{what}: {less}, by site and pooled", _summaries(comparisons, digits, unit))


def _plain(compared: tuple[str, str]) -> tuple[str, str]:
    condition, reference = (word.replace("_", " ") for word in compared)
    return condition, reference


def _heading(compared: tuple[str, str]) -> alt.TitleParams:
    import altair as alt

    text = " less ".join(clean(word) for word in _plain(compared))
    return alt.TitleParams(
        text=text, anchor="start", fontSize=13, fontWeight="normal", color=MUTED, frame="group", offset=8, limit=_WIDTH
    )


def _marks(chart: alt.Chart, across: alt.X, by_row: alt.Y) -> list[alt.Chart]:
    import altair as alt

    low, high = alt.X(field="low", type="quantitative"), alt.X2(field="high")
    further = alt.X(field="further_low", type="quantitative"), alt.X2(field="further_high")
    site, pooled = "datum.kind == 'site'", "datum.kind == 'pooled'"
    offset: dict[str, Any] = {"yOffset": _MARK_DOWN, "y2Offset": _MARK_DOWN}
    point: dict[str, Any] = {"filled": True, "opacity": 1, "stroke": INK, "strokeWidth": 0.8, "yOffset": _MARK_DOWN}
    return [
        # zero is drawn row by row, so that it does not run through the words
        chart.mark_tick(orient="vertical", size=_ROW - 20, thickness=1.4, color=INK, yOffset=_MARK_DOWN).encode(
            x=alt.X(field="zero", type="quantitative"), y=by_row
        ),
        chart.mark_rule(color=MUTED, strokeWidth=1.4, strokeDash=[2, 3], **offset)
        .encode(x=further[0], x2=further[1], y=by_row)
        .transform_filter("isValid(datum.further_low)"),
        chart.mark_rule(color=BLUE, strokeWidth=2, **offset).encode(x=low, x2=high, y=by_row).transform_filter(site),
        chart.mark_rule(color=INK, strokeWidth=4, **offset).encode(x=low, x2=high, y=by_row).transform_filter(pooled),
        chart.mark_point(shape="square", size=80, color=BLUE, **point)
        .encode(x=across, y=by_row)
        .transform_filter("isValid(datum.value) && datum.kind != 'pooled'"),
        chart.mark_point(shape="diamond", size=150, color=VERMILLION, **point)
        .encode(x=across, y=by_row)
        .transform_filter(pooled),
        _cut_mark(chart, by_row, "cut_low", "left", 0),
        _cut_mark(chart, by_row, "cut_high", "right", _WIDTH),
    ]


def _cut_mark(chart: alt.Chart, by_row: alt.Y, name: str, align: Literal["left", "right"], place: int) -> alt.Chart:
    """The arrow at the edge of the chart where an interval goes on."""
    import altair as alt

    return (
        chart.mark_text(align=align, baseline="middle", color=INK, fontSize=12, dy=_MARK_DOWN)
        .encode(x=alt.value(place), y=by_row, text=alt.Text(field=name, type="nominal"))
        .transform_filter(f"isValid(datum.{name})")
    )


def _texts(chart: alt.Chart, by_row: alt.Y) -> list[alt.Chart]:
    import altair as alt

    return [
        chart.mark_text(align="left", dy=_TEXT_UP, color=INK, fontSize=12, fontWeight="bold", limit=200).encode(
            x=alt.value(0), y=by_row, text=alt.Text(field="label", type="nominal")
        ),
        chart.mark_text(align="right", dy=_TEXT_UP, color=INK, fontSize=12, limit=200).encode(
            x=alt.value(_WIDTH), y=by_row, text=alt.Text(field="numbers", type="nominal")
        ),
    ]


def _drawn(place: int, row: ForestRow, domain: list[float], digits: int, unit: str) -> dict[str, Any]:
    """One row as the chart takes it, its interval cut at the edge of the chart, with a mark where it is."""
    has_interval = row.estimate is not None and row.lower is not None and row.upper is not None
    data: dict[str, Any] = {
        "row": place,
        "label": f"{row.label}, n = {row.runners}",
        "numbers": _numbers_text(row, digits),
        "kind": "none" if not has_interval else "pooled" if row.pooled else "site",
        "value": row.estimate,
        "zero": 0.0,
    }
    if row.lower is not None and row.upper is not None:
        data |= {"low": max(row.lower, domain[0]), "high": min(row.upper, domain[1])}
        data["cut_low"] = "◀" if row.lower < domain[0] else None
        data["cut_high"] = "▶" if row.upper > domain[1] else None
    if row.prediction:
        data |= {"further_low": max(row.prediction[0], domain[0]), "further_high": min(row.prediction[1], domain[1])}
    return data


def _domain(rows: Sequence[ForestRow]) -> list[float]:
    """From lowest to highest number, zero included; a far-reaching interval is cut so that others can be seen."""
    estimates = [0.0, *(row.estimate for row in rows if row.estimate is not None)]
    widths = sorted(row.upper - row.lower for row in rows if row.lower is not None and row.upper is not None)
    usual = widths[(len(widths) - 1) // 2] if widths else 0.0
    span = max(max(estimates) - min(estimates), usual) or 1.0
    ends = [end for row in rows for end in (row.lower, row.upper, *(row.prediction or ())) if end is not None]
    low = max(min([*estimates, *ends]), min(estimates) - _FURTHEST * span)
    high = min(max([*estimates, *ends]), max(estimates) + _FURTHEST * span)
    room = 0.06 * ((high - low) or 1.0)
    return [low - room, high + room]


def _numbers_text(row: ForestRow, digits: int) -> str:
    if row.estimate is None:
        return "no estimate"
    if row.lower is None or row.upper is None:
        return f"{signed(row.estimate, digits)} (no interval)"
    return f"{signed(row.estimate, digits)} ({signed(row.lower, digits)} to {signed(row.upper, digits)})"


def _summaries(comparisons: Sequence[tuple[tuple[str, str], Sequence[ForestRow]]], digits: int, unit: str) -> str:
    of_unit = f" in {unit}" if unit else ""
    parts = [f"Differences{of_unit} with 95 % intervals."]
    for compared, rows in comparisons:
        condition, reference = _plain(compared)
        parts.append(f"{condition} less {reference}, above zero means more in {condition}:")
        parts += [_summary(row, digits) for row in rows]
    return " ".join(parts)


def _summary(row: ForestRow, digits: int) -> str:
    text = f"{row.label}, {row.runners} runners: {_numbers_text(row, digits)}"
    if row.prediction:
        low, high = (signed(end, digits) for end in row.prediction)
        text += f", a further site expected from {low} to {high}"
    return text + (f", {row.reason}." if row.reason else ".")


def _numbers(row: Mapping[str, Any]) -> tuple[float | None, float | None, float | None]:
    return _number(row["estimate_value"]), _number(row["lower_limit_value"]), _number(row["upper_limit_value"])


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) else None
