"""The part of a site's page about the site as a whole: findings, how the checks ended, control charts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from pipelines.pages.charts.control import MOST_DRAWN, control_chart_drawing, summary
from pipelines.pages.whole_sites import Ended, Point, quantity_words
from pipelines.science.statistics.control_chart import BASELINE_SESSIONS

if TYPE_CHECKING:
    from pipelines.pages.facts import Facts, Finding


@dataclass(frozen=True)
class ControlChart:
    """One quantity's chart with its words."""

    title: str
    note: str
    points: tuple[Point, ...]
    drawing: Markup
    summary: str

    @property
    def left_out(self) -> int:
        """Older sessions that are not drawn."""
        return max(0, len(self.points) - MOST_DRAWN)


@dataclass(frozen=True)
class SiteSection:
    """What the template needs."""

    findings: tuple[Finding, ...]
    ended: tuple[Ended, ...]
    charts: tuple[ControlChart, ...]
    baseline: int = BASELINE_SESSIONS

    @property
    def skipped(self) -> list[Ended]:
        """Checks that could not judge."""
        return [e for e in self.ended if e.status == "skipped"]


def site_section(facts: Facts, site: str) -> SiteSection:
    """The section of one site."""
    whole = facts.whole
    charts = tuple(_chart(points, f"control-{place}") for place, points in enumerate(whole.charts.get(site, ())))
    return SiteSection(tuple(whole.findings(facts.findings, site)), tuple(whole.ended_at(site)), charts)


def _chart(points: tuple[Point, ...], key: str) -> ControlChart:
    title, note, _ = quantity_words(points[0].quantity)
    return ControlChart(title, note, points, control_chart_drawing(points, key), summary(points))
