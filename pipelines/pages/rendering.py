"""Renders every page: facts in, HTML out. What a page says is in ``facts`` and ``view``, how it looks in the templates.

Which are written, and where, is in ``build``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from markupsafe import Markup

from pipelines.pages import consent_notes, decisions, round_trip, view
from pipelines.pages.change_over import MOST_DRAWN
from pipelines.pages.charts.curve import curve_chart, curve_range
from pipelines.pages.charts.forest import forest_chart
from pipelines.pages.charts.outcomes import MOST_RINGS, is_crowded, outcome_chart
from pipelines.pages.charts.signal import signal_chart
from pipelines.pages.charts.standings import MOST_BARS, standing_chart
from pipelines.pages.charts.wave import wave
from pipelines.pages.charts.weeks import week_chart
from pipelines.pages.contrasts import Compare
from pipelines.pages.facts import Delivery, Facts, Finding, Standing
from pipelines.pages.further import Further, LongTable, only_some, split
from pipelines.pages.names import file_names, link
from pipelines.pages.outcomes_shown import Outcome
from pipelines.pages.sheets import Sheet, sheets
from pipelines.pages.site_section import site_section
from pipelines.pages.templating import templates
from pipelines.pages.traces import Trace
from pipelines.pages.words import joined
from pipelines.science.change_over.cautions import WORDING
from pipelines.versions import shown_version

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy

_HERE = Path(__file__).parent
SAFETY = "safety.html"  # weeks and cautions of single runners: for the safety lead, to whom the owner gives it
TOP = ("curves.html", SAFETY, "expectations.html", "index.html")


@dataclass(frozen=True)
class Page:
    """One page that is no fix sheet. parts: of its path; made_from: hash of all that is on it, None if always made."""

    parts: tuple[str, ...]
    render: Callable[[], str]
    made_from: str | None = None


class Comparison(NamedTuple):
    """One outcome compared between sites. crowded: not all runners are drawn."""

    outcome: Outcome
    chart: Markup
    crowded: bool


class Pages:
    """Renders every page of one warehouse. at_lab: for a report that stays at the laboratory, see ``lab_report``."""

    at_lab = False

    def __init__(self, facts: Facts, study: LoadedStudy) -> None:
        self.facts = facts
        self.site_names = [s.site for s in facts.sites]
        # one list, so that a trial and a delivery of the same name do not get the same file
        trials = (("trial", str(s.trial_id)) for s in facts.returned)
        self.sheet_files = file_names([*trials, *(("delivery", d.delivery_id) for d in facts.stopped)])
        self.tables = {site: self._tables(site) for site in self.site_names}
        further = [p for tables in self.tables.values() for table in tables.values() for p in table.further]
        named = [("site", s) for s in self.site_names] + [("further", f"{p.site}-{p.kind}-{p.number}") for p in further]
        files = file_names(named)
        self.site_files = {site: files["site", site] for site in self.site_names}
        self.tables = {
            site: {kind: table.named(files) for kind, table in tables.items()} for site, tables in self.tables.items()
        }
        self.templates = templates()
        self.foot: dict[str, Any] = {
            "study": study.study,
            "study_version": study.version,
            "at_lab": self.at_lab,
            "css": Markup((_HERE / "static" / "pages.css").read_text(encoding="utf-8")),
            "wave": wave(),
            "view": view,
        }
        self.common: dict[str, Any] = {
            **self.foot,
            "judged_by": view.versions(facts.deliveries),
            "facts": facts,
            **{module.__name__.rpartition(".")[2]: module for module in (round_trip, decisions, consent_notes)},
        }

    def sheets(self) -> Iterator[Sheet]:
        """Every fix sheet."""
        return sheets(self.facts, self.sheet_files)

    def made_from(self, sheet: Sheet) -> str:
        """The hash of everything that is on a sheet."""
        study = self.foot["study"]
        shown = (study.title, study.invented, study.citation, self.foot["study_version"])
        return sheet.made_from(shown_version(), shown, self._site_link("../")(sheet.site))

    def others(self) -> Iterator[Page]:
        """Every other page, in the order in which they are to be written."""
        for site in self.site_names:
            for table in self.tables[site].values():
                yield from map(self._further_page, table.further)
            yield Page(("sites", self.site_files[site]), partial(self.site_page, site))
        expectations = partial(self._render, "expectations.html.j2", "")
        tops: tuple[Callable[[], str], ...] = (self.curves_page, self.safety_page, expectations, self.overview)
        for name, page in zip(TOP, tops, strict=True):
            yield Page((name,), page)

    def sheet(self, sheet: Sheet, traces: Mapping[str, Trace]) -> str:
        """One fix sheet. traces: finding -> signal, of at least those that it draws."""
        drawings = {
            f.finding_id: signal_chart(trace, f.moment_s, f"signal-{number}")
            for number, f in enumerate(sheet.drawn)
            if (trace := traces.get(f.finding_id)) and len(trace.points) > 1
        }
        return self.templates.get_template(sheet.template).render(
            **self.foot,
            root="../",
            made_from=self.made_from(sheet),
            site_link=self._site_link("../"),
            drawings=drawings,
            **sheet.values,
        )

    def _further_page(self, page: Further) -> Page:
        links = [self._links_of(page.kind, row) for row in page.rows]
        study = self.foot["study"]
        shown = (study.title, study.invented, study.citation, self.foot["study_version"], self.common["judged_by"])
        word = page.made_from(shown_version(), shown, self._site_link("../")(page.site), self.facts.visits, links)
        render = partial(self._render, "further.html.j2", "../", page=page, made_from=word)
        return Page(("sites", page.name), render, word)

    def _links_of(self, kind: str, row: Any) -> str | None:
        if kind == "returns":
            return self.sheet_files["trial", row[0].trial_id]
        return self._stopped_link("")(row.delivery) if kind == "deliveries" else None

    def _tables(self, site: str) -> dict[str, LongTable]:
        facts = self.facts
        rows: dict[str, Sequence[Any]] = {"returns": self._returns(site), "tables": self._loose(site)}
        rows["deliveries"] = view.delivery_rows(facts, site)
        return {kind: split(site, kind, own) for kind, own in rows.items()}

    def _returns(self, site: str | None) -> list[tuple[Standing, tuple[Finding, ...]]]:
        facts = self.facts
        return [
            (s, facts.findings_on.get((s.delivery_id, s.trial_id), ()))
            for s in facts.returned
            if site in (None, s.site)
        ]

    def _render(self, template: str, root: str, **values: Any) -> str:
        return self.templates.get_template(template).render(
            **self.common,
            root=root,
            sheet_link=lambda trial_id: root + link("fix", self.sheet_files["trial", trial_id]),
            stopped_link=self._stopped_link(root),
            site_link=self._site_link(root),
            **values,
        )

    def _site_link(self, root: str) -> Callable[[str | None], str | None]:
        return lambda site: root + link("sites", self.site_files[site]) if site in self.site_files else None

    def _stopped_link(self, root: str) -> Callable[[Delivery], str | None]:
        def to(delivery: Delivery) -> str | None:
            name = self.sheet_files.get(("delivery", delivery.delivery_id))
            return root + link("fix", name) if name else None

        return to

    def overview(self) -> str:
        """The page for the data manager."""
        facts = self.facts
        deliveries = view.delivery_rows(facts)
        return self._render(
            "index.html.j2",
            "",
            deliveries=only_some(deliveries, newest=True),
            counts=view.count_standings(facts.current),
            returns=only_some(self._returns(None)),
            loose=only_some(self._loose(None)),
            stopped=facts.stopped,
            grid=view.completeness(facts, self.site_names),
            faults=view.frequent_faults(facts),
            tallies=view.check_tallies(facts),
            **self._bars(deliveries),
            **self._comparisons(None),
            forests=self._forests(),
            site_names=self.site_names,
        )

    def curves_page(self) -> str:
        """Mean curves, for the statistician."""
        drawn = []
        for place, (quantity, curves) in enumerate(self.facts.curves.by_quantity):
            domain = curve_range(curves)
            behind = next((c for c in curves if c.condition == self.facts.curves.reference), None)
            panels = [curve_chart(quantity, c, behind, domain, f"curve-{place}-{i}") for i, c in enumerate(curves)]
            drawn.append((quantity, curves, panels))
        return self._render("curves.html.j2", "", drawn=drawn)

    def safety_page(self) -> str:
        """The page for the safety lead; no other page may take ``facts.change_over``."""
        over = self.facts.change_over
        drawn = [
            (runner, week_chart(runner, over.weeks[runner], over.last_weeks, f"weeks-{place}"))
            for place, runner in enumerate(over.listed[:MOST_DRAWN])
            if runner in over.weeks
        ]
        wording = joined(list(dict.fromkeys(c.wording for c in over.cautions))) or WORDING
        limits = self.common["study"].processing.transition
        return self._render("safety.html.j2", "", over=over, drawn=drawn, wording=wording, limits=limits)

    def site_page(self, site: str) -> str:
        """The page for the lead of one site."""
        facts, tables = self.facts, self.tables[site]
        return self._render(
            "site.html.j2",
            "../",
            site=next(s for s in facts.sites if s.site == site),
            deliveries=tables["deliveries"],
            counts=view.count_standings(s for s in facts.current if s.site == site),
            returns=tables["returns"],
            loose=tables["tables"],
            stopped=[d for d in facts.stopped if d.site == site],
            grid=view.completeness(facts, [site]),
            faults=view.frequent_faults(facts, site),
            tallies=[t for t in view.check_tallies(facts, site) if t.counts["crashed"]],
            **self._bars(view.delivery_rows(facts, site)),
            **self._comparisons(site),
            against=view.against_others(facts, site),
            whole=site_section(facts, site),
            next_number=facts.next_number(site),
        )

    def _loose(self, site: str | None) -> list[Finding]:
        """Findings about tables that touch no trial, of deliveries that were taken in."""
        taken = {d.delivery_id for d in self.facts.deliveries if d.status == "taken_in"}
        return [
            f
            for f in self.facts.findings
            if f.trial_id is None and f.delivery_id in taken and f.weight != "stops" and site in (None, f.site)
        ]

    def _bars(self, deliveries: list[view.DeliveryRow]) -> dict[str, Any]:
        """The chart of the newest deliveries for a wide and for a narrow page."""
        rows = [(r.delivery.delivery_id, r.counts) for r in deliveries if any(r.counts.values())]
        drawn = rows[-MOST_BARS:]
        bars = [standing_chart(drawn, f"bars-{width}", width=width) for width in (760, 350)] if rows else []
        return {"bars": bars, "bars_left_out": len(rows) - len(drawn), "most_bars": MOST_BARS}

    def _comparisons(self, own: str | None) -> dict[str, Any]:
        sites, conditions = sorted(self.site_names, key=lambda s: s != own), list(self.facts.conditions)
        compared = [
            Comparison(
                o,
                outcome_chart(o, means, conditions, sites, f"outcome-{i}", own=own),
                is_crowded(means),
            )
            for i, o in enumerate(o for o in self.facts.shown if o.between_sites)
            if (means := self.facts.outcomes[o.key])
        ]
        return {"comparisons": compared, "most_rings": MOST_RINGS}

    def _forests(self) -> list[tuple[Compare, Markup | None]]:
        forests: list[tuple[Compare, Markup | None]] = []
        for place, compare in enumerate(self.facts.contrasts.outcomes):
            what, drawn = compare.outcome, compare.drawn
            key = f"contrast-{place}"
            chart = forest_chart(what.title, what.unit, drawn, key, digits=what.digits) if drawn else None
            forests.append((compare, chart))
        return forests
