"""The charts of the pages, built with Altair. Nothing here reads the warehouse or knows SVG; ``drawing`` does."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from pipelines.pages.drawing import BLACK, BLUE, GREEN, INK, MUTED, ORANGE, PURPLE, VERMILLION, svg, values
from pipelines.pages.facts import Trace
from pipelines.pages.outcomes_shown import Outcome
from pipelines.pages.words import SIGNS, signal_words

if TYPE_CHECKING:
    import altair as alt

STANDING_FILL = {"accepted": BLUE, "returned": ORANGE, "withheld": "#ffffff"}
SITE_COLOURS = (BLUE, VERMILLION, BLACK, GREEN, PURPLE)
SITE_SHAPES = ("circle", "square", "triangle-up", "diamond", "cross")


@dataclass(frozen=True)
class Drawing:
    """A chart and the words above it."""

    svg: Markup
    caption: str


def signal_chart(trace: Trace, moment_s: float | None, key: str) -> Drawing:
    """A stretch of one signal over time, the moment of the finding marked and missing samples shaded.

    key: makes the ids of the drawing unique on its page.
    """
    import altair as alt

    what, axis = signal_words(trace.signal)
    line = [{"t": t, "v": v} for t, v in trace.points]
    known = [v for _, v in trace.points if v is not None]
    times = alt.X(
        field="t",
        type="quantitative",
        title="Time in the trial (s)",
        scale=alt.Scale(domain=[trace.points[0][0], trace.points[-1][0]], nice=False),
        axis=alt.Axis(tickCount=6),
    )
    height = alt.Y(
        field="v",
        type="quantitative",
        title=f"{axis} ({trace.unit})",
        scale=alt.Scale(domain=_roomy(known, trace.signal.startswith("force")), nice=False),
        axis=alt.Axis(tickCount=5),
    )
    layers: list[alt.Chart] = [
        alt.Chart(values([{"t": a, "t2": b} for a, b in _gaps(trace)]))
        .mark_rect(color="#ece7da")
        .encode(x=times, x2=alt.X2(field="t2")),
        alt.Chart(values(line)).mark_line(color=BLUE, strokeWidth=1.8, clip=True).encode(x=times, y=height),
    ]
    layers += _moment_layers(trace, moment_s, times, height)
    chart = alt.layer(*layers).properties(width=372, height=170)
    shaded = "not loaded" if trace.signal.startswith("cop:") else "no value"
    caption = f"{what}. Shaded: {shaded}." if len(known) < len(trace.points) else what
    return Drawing(svg(chart, key, what, _signal_summary(trace, moment_s, known)), caption)


def _moment_layers(trace: Trace, moment_s: float | None, times: alt.X, height: alt.Y) -> list[alt.Chart]:
    import altair as alt

    if moment_s is None or not trace.points[0][0] <= moment_s <= trace.points[-1][0]:
        return []
    share = (moment_s - trace.points[0][0]) / (trace.points[-1][0] - trace.points[0][0] or 1)
    align: Any = "left" if share < 0.2 else "right" if share > 0.8 else "center"
    here = values([{"t": moment_s, "label": f"▼ {moment_s:.3f} s"}])
    layers = [
        alt.Chart(here).mark_rule(color=INK, strokeWidth=1.4, strokeDash=[5, 3]).encode(x=times),
        alt.Chart(here)
        .mark_text(align=align, baseline="bottom", dy=-4, fontWeight="bold", color=INK, fontSize=13)
        .encode(x=times, y=alt.value(0), text=alt.Text(field="label", type="nominal")),
    ]
    near = min((p for p in trace.points if p[1] is not None), key=lambda p: abs(p[0] - moment_s), default=None)
    if near and abs(near[0] - moment_s) < 0.02:
        layers.append(
            alt.Chart(values([{"t": near[0], "v": near[1]}]))
            .mark_point(shape="diamond", size=110, filled=True, color=VERMILLION, stroke=INK, opacity=1)
            .encode(x=times, y=height)
        )
    return layers


def _roomy(numbers: Sequence[float], with_zero: bool) -> list[float]:
    low, high = (min(numbers), max(numbers)) if numbers else (0.0, 1.0)
    if with_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    room = 0.08 * (high - low) or 0.05 * abs(high) or 1.0
    return [low - room, high + room]


def _gaps(trace: Trace) -> list[tuple[float, float]]:
    """Stretches without a value, each from the last known sample to the next one."""
    gaps, start, last = [], None, trace.points[0][0]
    for time, value in trace.points:
        if value is None:
            start = last if start is None else start
        elif start is not None:
            gaps.append((start, time))
            start = None
        if value is not None:
            last = time
    return gaps + ([(start, trace.points[-1][0])] if start is not None else [])


def _signal_summary(trace: Trace, moment_s: float | None, known: Sequence[float]) -> str:
    if not known:
        return "The signal has no values in this stretch."
    start, end = trace.points[0][0], trace.points[-1][0]
    text = f"From {start:.2f} to {end:.2f} s it lies between {min(known):.4g} and {max(known):.4g} {trace.unit}."
    if len(known) < len(trace.points):
        text += " Shaded stretches have no values."
    return text + (f" The finding is at {moment_s:.3f} s." if moment_s is not None else "")


def standing_chart(rows: Sequence[tuple[str, dict[str, int]]], key: str, *, width: int) -> Markup:
    """Accepted, returned and withheld trials of each delivery, oldest first, as labelled stacked bars.

    rows: (delivery id, standing -> number of trials). width: of the whole drawing, in pixels.
    """
    import altair as alt

    parts: list[dict[str, Any]] = []
    labels: list[dict[str, Any]] = []
    order = list(STANDING_FILL)
    for name, counts in rows:
        parts += [
            {"delivery": name, "standing": s, "trials": counts.get(s, 0), "rank": i}
            for i, s in enumerate(order)
            if counts.get(s, 0)
        ]
        said = "  ".join(f"{SIGNS[s]} {counts[s]}" for s in order if counts.get(s, 0))
        labels.append({"delivery": name, "trials": sum(counts.values()), "label": said or "no trials"})
    longest = max((row["trials"] for row in labels), default=0)
    names = [name for name, _ in rows]
    by_delivery = alt.Y(
        field="delivery",
        type="ordinal",
        sort=names,
        title=None,
        axis=alt.Axis(domain=False, ticks=False, labelPadding=6),
    )
    across = alt.X(
        field="trials",
        type="quantitative",
        title="Trials",
        stack="zero",
        axis=alt.Axis(tickCount=min(width // 100, longest), format="d"),
        scale=alt.Scale(domain=[0, max(longest, 1)], nice=False),
    )
    end = alt.X(field="trials", type="quantitative")
    bars = (
        alt.Chart(values(parts))
        .mark_bar(stroke=INK, strokeWidth=1, size=16)
        .encode(
            y=by_delivery,
            x=across,
            order=alt.Order(field="rank", type="quantitative"),
            fill=alt.Fill(
                field="standing",
                type="nominal",
                legend=None,
                scale=alt.Scale(domain=order, range=list(STANDING_FILL.values())),
            ),
        )
    )
    text = (
        alt.Chart(values(labels))
        .mark_text(align="left", dx=7, color=INK, fontSize=13)
        .encode(y=by_delivery, x=end, text=alt.Text(field="label", type="nominal"))
    )
    chart = alt.layer(bars, text).properties(width=max(width - 200, 90), height={"step": 26})
    words = "; ".join(
        f"{name}: " + (", ".join(f"{n} {s}" for s, n in counts.items() if n) or "no trials") for name, counts in rows
    )
    return svg(chart, key, "Trials of each delivery by standing", words + ".")


def outcome_chart(
    outcome: Outcome,
    means: Sequence[tuple[str, str, float]],
    conditions: Sequence[str],
    sites: Sequence[str],
    key: str,
    *,
    own: str | None = None,
) -> Markup:
    """One outcome by condition and site: runners as small rings, their mean as a large mark, one SD to either side.

    means: (site, condition, mean of one runner). own: the site that is brought out against the others.
    """
    import altair as alt

    rows, words = _outcome_rows(outcome, means, conditions, sites)
    known = [row["value"] for row in rows if row["kind"] == "runner"]
    ends = [row[end] for row in rows for end in ("low", "high") if row["kind"] == "mean"]
    across = alt.X(
        field="value",
        type="quantitative",
        title=outcome.axis,
        scale=alt.Scale(domain=_roomy(known + ends, False), nice=False, zero=False),
        axis=alt.Axis(tickCount=5),
    )
    by_site = alt.Y(
        field="site",
        type="nominal",
        sort=list(sites),
        title=None,
        axis=alt.Axis(domain=False, ticks=False, labelPadding=6),
    )
    colours = [BLUE if s == own else "#6b7780" for s in sites] if own else _cycle(SITE_COLOURS, len(sites))
    colour = alt.Color(
        field="site", type="nominal", legend=None, scale=alt.Scale(domain=list(sites), range=list(colours))
    )
    shape = alt.Shape(
        field="site",
        type="nominal",
        legend=None,
        scale=alt.Scale(domain=list(sites), range=_cycle(SITE_SHAPES, len(sites))),
    )
    base = alt.Chart()
    layers = [
        base.mark_rule(strokeWidth=5, opacity=0.4, yOffset=-3, y2Offset=-3)
        .encode(x=alt.X(field="low", type="quantitative"), x2=alt.X2(field="high"), y=by_site, color=colour)
        .transform_filter("datum.kind == 'mean'"),
        base.mark_point(shape="circle", size=26, strokeWidth=1.3, opacity=0.9, yOffset=8)
        .encode(x=across, y=by_site, color=colour)
        .transform_filter("datum.kind == 'runner'"),
        base.mark_point(size=100, filled=True, opacity=1, stroke=INK, strokeWidth=0.8, yOffset=-3)
        .encode(x=across, y=by_site, color=colour, shape=shape)
        .transform_filter("datum.kind == 'mean'"),
        base.mark_text(color=MUTED, fontSize=11, align="left", dx=6)
        .encode(x=alt.value(0), y=by_site, text=alt.Text(field="label", type="nominal"))
        .transform_filter("datum.kind == 'none'"),
    ]
    header = alt.Header(title=None, labelAngle=0, labelOrient="top", labelAnchor="start", labelFontWeight="bold")
    chart = (
        alt.layer(*layers, data=values(rows))
        .properties(width=330, height={"step": 28})
        .facet(
            row=alt.Row(field="condition", type="nominal", sort=[_plain(c) for c in conditions], header=header),
            spacing=4,
        )
    )
    return svg(chart, key, f"{outcome.title} by condition and site", " ".join(words))


def _outcome_rows(
    outcome: Outcome, means: Sequence[tuple[str, str, float]], conditions: Sequence[str], sites: Sequence[str]
) -> tuple[list[dict[str, Any]], list[str]]:
    rows: list[dict[str, Any]] = []
    words = []
    for condition in conditions:
        for site in sites:
            own = [value for s, c, value in means if (s, c) == (site, condition) and math.isfinite(value)]
            where = {"condition": _plain(condition), "site": site}
            if not own:
                rows.append({**where, "kind": "none", "label": "no value"})
                continue
            mean, spread = statistics.fmean(own), statistics.stdev(own) if len(own) > 1 else 0.0
            rows += [{**where, "kind": "runner", "value": value} for value in own]
            rows.append({**where, "kind": "mean", "value": mean, "low": mean - spread, "high": mean + spread})
            words.append(f"{where['condition']}, {site}: {mean:.{outcome.digits}f} {outcome.unit}, n = {len(own)}.")
    return rows, words


def _plain(word: str) -> str:
    return word.replace("_", " ")


def _cycle(items: Sequence[str], count: int) -> list[str]:
    return [items[i % len(items)] for i in range(count)]
