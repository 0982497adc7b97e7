"""Forest plot: the sites' estimates of one difference between conditions, and the pooled ones.

Rows come from ``site_contrasts`` and ``pooled_contrasts``. Sites are squares, pooled estimates diamonds, and every row
carries its name and numbers, so that colour is needed for nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from pipelines.pages.charts import axis, marks
from pipelines.pages.charts.look import BLUE, EDGE, INK, MUTED, SIZE, VERMILLION, shortened, width_of
from pipelines.pages.charts.scale import Scale
from pipelines.pages.words import signed

POOLED_WORDS = {
    "one_stage_mixed_model": "Mixed model",
    "random_effects_dersimonian_laird": "Random effects, DL",
    "random_effects_restricted_likelihood": "Random effects, REML",
}
_WIDTH, _ROW, _HEADING, _BETWEEN = 350, 42, 24, 16
#: From the upper edge of a row to the base line of its words, and to its marks.
_WORDS_AT, _MARKS_AT = 15, 29
_SMALL = SIZE
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
    low, high = _domain([row for _, rows in comparisons for row in rows])
    across = Scale(low, high, EDGE, _WIDTH - EDGE)
    parts: list[str] = []
    top = float(EDGE)
    for compared, rows in comparisons:
        heading = shortened(" less ".join(marks.clean(word) for word in _plain(compared)), _WIDTH - 2 * EDGE)
        parts.append(marks.text((EDGE, top + SIZE), heading, colour=MUTED))
        top += _HEADING
        for row in rows:
            parts += _drawn(row, across, top, digits)
            top += _ROW
        top += _BETWEEN
    title = f"Difference ({unit})" if unit else "Difference"
    parts += axis.below(across, top - _BETWEEN, across.ticks(5), title)
    less = " and ".join(" less ".join(_plain(compared)) for compared, _ in comparisons)
    height = top - _BETWEEN + axis.BELOW_TITLED + EDGE
    summary = _summaries(comparisons, digits, unit)
    return marks.svg(_WIDTH, height, parts, key, f"{what}: {less}, by site and pooled", summary)


def _plain(compared: tuple[str, str]) -> tuple[str, str]:
    condition, reference = (word.replace("_", " ") for word in compared)
    return condition, reference


def _drawn(row: ForestRow, across: Scale, top: float, digits: int) -> list[str]:
    """One row: its words above, its marks below; an interval is cut at the edge of the chart, with an arrow there."""
    numbers = _numbers_text(row, digits)
    middle = top + _MARKS_AT
    room = across.end - across.start - width_of(numbers, _SMALL) - _SMALL
    name = row.label.partition(",")[0] if row.pooled else row.label  # one way of pooling is drawn, the text says which
    label = shortened(marks.clean(f"{name}, n = {row.runners}"), room, _SMALL, bold=True)
    parts = [
        marks.text((across.start, top + _WORDS_AT), label, size=_SMALL, bold=True),
        marks.text((across.end, top + _WORDS_AT), numbers, size=_SMALL, anchor="end"),
        # zero is drawn row by row, so that it does not run through the words
        marks.rule((across(0), middle - 11), (across(0), middle + 11), colour=INK, width=1.4),
    ]

    def reach(low: float, high: float, **look: Any) -> str:
        ends = (across(max(low, across.low)), middle), (across(min(high, across.high)), middle)
        return marks.rule(*ends, **look)

    if row.prediction:
        parts.append(reach(*row.prediction, colour=MUTED, width=1.4, dash="2 3"))
    if row.estimate is None:
        return parts
    if row.lower is not None and row.upper is not None:
        look: dict[str, Any] = {"colour": INK, "width": 4} if row.pooled else {"colour": BLUE, "width": 2}
        parts.append(reach(row.lower, row.upper, **look))
        if row.lower < across.low:
            parts.append(marks.text((across.start, middle + 4), "◀", size=_SMALL))
        if row.upper > across.high:
            parts.append(marks.text((across.end, middle + 4), "▶", size=_SMALL, anchor="end"))
    elif row.pooled:
        return parts
    shape, size, fill = ("diamond", 90, VERMILLION) if row.pooled else ("square", 80, BLUE)
    return [*parts, marks.mark(shape, (across(row.estimate), middle), size, fill=fill)]


def _domain(rows: Sequence[ForestRow]) -> tuple[float, float]:
    """From lowest to highest number, zero included; a far-reaching interval is cut so that others can be seen."""
    estimates = [0.0, *(row.estimate for row in rows if row.estimate is not None)]
    widths = sorted(row.upper - row.lower for row in rows if row.lower is not None and row.upper is not None)
    usual = widths[(len(widths) - 1) // 2] if widths else 0.0
    span = max(max(estimates) - min(estimates), usual) or 1.0
    ends = [end for row in rows for end in (row.lower, row.upper, *(row.prediction or ())) if end is not None]
    low = max(min([*estimates, *ends]), min(estimates) - _FURTHEST * span)
    high = min(max([*estimates, *ends]), max(estimates) + _FURTHEST * span)
    room = 0.06 * ((high - low) or 1.0)
    return low - room, high + room


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
