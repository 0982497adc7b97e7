"""Charts by which sites, conditions and deliveries are compared, as the pages of a study show them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from markupsafe import Markup

from pipelines.pages.charts.band import band_chart
from pipelines.pages.charts.curve import curve_chart, curve_range
from pipelines.pages.charts.flow import flow_chart, highest_of
from pipelines.pages.charts.forest import forest_chart
from pipelines.pages.charts.outcomes import MOST_RINGS, is_crowded, outcome_chart
from pipelines.pages.charts.standings import MOST_BARS, standing_chart
from pipelines.pages.contrasts import Compare
from pipelines.pages.curves import Curve, Quantity
from pipelines.pages.facts import Facts
from pipelines.pages.outcomes_shown import Outcome
from pipelines.pages.planned import Planned
from pipelines.pages.planned_words import Answer
from pipelines.pages.view import DeliveryRow

_WIDE, _NARROW = 760, 350


class Comparison(NamedTuple):
    """One outcome compared between sites. crowded: not all runners are drawn."""

    outcome: Outcome
    chart: Markup
    crowded: bool


def bars(deliveries: Sequence[DeliveryRow]) -> dict[str, Any]:
    """The chart of the newest deliveries for a wide and for a narrow page."""
    rows = [(r.delivery.delivery_id, r.counts) for r in deliveries if any(r.counts.values())]
    drawn = rows[-MOST_BARS:]
    charts = [standing_chart(drawn, f"bars-{width}", width=width) for width in (_WIDE, _NARROW)] if rows else []
    return {"bars": charts, "bars_left_out": len(rows) - len(drawn), "most_bars": MOST_BARS}


def comparisons(facts: Facts, sites: Sequence[str], own: str | None = None) -> dict[str, Any]:
    """Every outcome over sites and conditions. own: the site whose page it is, which stands first."""
    ordered, conditions = sorted(sites, key=lambda s: s != own), list(facts.conditions)
    compared = [
        Comparison(o, outcome_chart(o, means, conditions, ordered, f"outcome-{i}", own=own), is_crowded(means))
        for i, o in enumerate(o for o in facts.shown if o.between_sites)
        if (means := facts.outcomes[o.key])
    ]
    return {"comparisons": compared, "most_rings": MOST_RINGS}


def forests(facts: Facts) -> list[tuple[Compare, Markup | None]]:
    """Differences between conditions, outcome by outcome."""
    drawn: list[tuple[Compare, Markup | None]] = []
    for place, compare in enumerate(facts.contrasts.outcomes):
        what, rows = compare.outcome, compare.drawn
        chart = forest_chart(what.title, what.unit, rows, f"contrast-{place}", digits=what.digits) if rows else None
        drawn.append((compare, chart))
    return drawn


def curve_panels(facts: Facts) -> Iterator[tuple[Quantity, Sequence[Curve], list[Markup]]]:
    """Mean curves, quantity by quantity, a panel for each condition."""
    for place, (quantity, curves) in enumerate(facts.curves.by_quantity):
        domain = curve_range(curves)
        behind = next((c for c in curves if c.condition == facts.curves.reference), None)
        yield (
            quantity,
            curves,
            [curve_chart(quantity, c, behind, domain, f"curve-{place}-{i}") for i, c in enumerate(curves)],
        )


def flows(facts: Facts) -> dict[str, Markup | None]:
    """Site -> its trials over the weeks of the study, all on one scale."""
    by_site: dict[str, list[tuple[int, str]]] = {s.site: [] for s in facts.sites}
    for s in facts.current:
        if s.site in by_site and s.study_day is not None and s.standing != "withheld":
            by_site[s.site].append((max(0, s.study_day) // 7, s.standing))
    last = max((week for trials in by_site.values() for week, _ in trials), default=0)
    highest = max(map(highest_of, by_site.values()), default=0)
    return {site: flow_chart(trials, last, highest, f"flow-{i}") for i, (site, trials) in enumerate(by_site.items())}


def bands(plan: Planned) -> list[tuple[Answer, Markup]]:
    """The curves that the plan compares, drawn; those without a band are left out."""
    return [
        (one, band_chart(one.title, one.words, one.unit, one.points, f"band-{number}"))
        for number, one in enumerate(plan.curves)
        if one.points
    ]
