"""Writes the pages: facts in, HTML files out. What a page says is in ``facts`` and ``view``, how it looks in templates.

Fix sheets are written first, the overview last and stale pages are removed after that, each file in one step: a reader
with the old overview open never meets a broken link, whenever the run is killed.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from markupsafe import Markup

from pipelines import logs
from pipelines.depot.storage import sync_folder, write_bytes
from pipelines.pages import decisions, round_trip, view
from pipelines.pages.change_over import MOST_DRAWN
from pipelines.pages.charts.curve import curve_chart, curve_range
from pipelines.pages.charts.forest import forest_chart
from pipelines.pages.charts.outcomes import outcome_chart
from pipelines.pages.charts.signal import signal_chart
from pipelines.pages.charts.standings import standing_chart
from pipelines.pages.charts.wave import wave
from pipelines.pages.charts.weeks import week_chart
from pipelines.pages.contrasts import Compare
from pipelines.pages.facts import Delivery, Facts, Finding, read_facts
from pipelines.pages.names import file_names, link
from pipelines.pages.sheets import Sheet, made_from, sheets
from pipelines.pages.site_section import site_section
from pipelines.pages.templating import templates
from pipelines.pages.traces import Trace, read_traces
from pipelines.pages.words import joined
from pipelines.science.change_over.cautions import WORDING
from pipelines.versions import shown_version

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy

log = logging.getLogger(__name__)
_HERE = Path(__file__).parent
_AT_ONCE = 100
_SAFETY = "safety.html"  # weeks and cautions of single runners: for the safety lead, to whom the owner gives it
_TOP = ("curves.html", _SAFETY, "expectations.html", "index.html")


class Places(Protocol):
    """The two places of a depot that matter here."""

    @property
    def pages(self) -> Path:
        """Folder the pages go to."""

    @property
    def warehouse(self) -> Path:
        """DuckDB file the pages are read from."""


def write_pages(depot: Places, study: LoadedStudy) -> Path:
    """Write all pages from the warehouse and remove those that are no longer due; returns the overview's path.

    Raises Unusable if the warehouse cannot be read. A fix sheet that would say the same is not made again, and no file
    whose content has not changed is touched.
    """
    facts = read_facts(depot.warehouse, study.study)
    pages = Pages(facts, study)
    due: set[Path] = set()
    written = 0
    for part in _portions(_changed(depot, pages, due)):
        traces = read_traces(depot.warehouse, [f.finding_id for sheet in part for f in sheet.drawn])
        for sheet in part:
            content = pages.sheet(sheet, traces).encode("utf-8", "replace")
            write_bytes(depot.pages / "fix" / sheet.name, content, sync=False)
            written += 1
        sync_folder(depot.pages / "fix")  # all at once, since to wait for the disk at each takes longer than to make it
    for parts, html in pages.others():
        path = depot.pages.joinpath(*parts)
        due.add(path)
        content = html.encode("utf-8", "replace")
        if not path.is_file() or path.read_bytes() != content:
            write_bytes(path, content, owner_only=path.name == _SAFETY)
            written += 1
    for folder, pattern in (("fix", "*"), ("sites", "*"), *((".", f".{name}.*") for name in _TOP)):
        for stale in set((depot.pages / folder).glob(pattern)) - due:
            if stale.suffix == ".html" or ".html." in stale.name:
                stale.unlink()
    log.info("The pages are up to date.", extra=logs.facts(pages=len(due), written=written))
    return depot.pages / "index.html"


def _changed(depot: Places, pages: Pages, due: set[Path]) -> list[Sheet]:
    """The sheets that say something else than their files; the paths of all are added to ``due``."""
    changed = []
    for sheet in pages.sheets():
        path = depot.pages / "fix" / sheet.name
        due.add(path)
        if made_from(path) != pages.made_from(sheet):
            changed.append(sheet)
    return changed


def _portions(sheets: list[Sheet]) -> Iterator[list[Sheet]]:
    """A few at a time, so that the signals of all need not be in memory."""
    for start in range(0, len(sheets), _AT_ONCE):
        yield sheets[start : start + _AT_ONCE]


class Pages:
    """Renders every page of one warehouse. at_lab: for a report that stays at the laboratory, see ``lab_report``."""

    at_lab = False

    def __init__(self, facts: Facts, study: LoadedStudy) -> None:
        self.facts = facts
        self.site_names = [s.site for s in facts.sites]
        # one list, so that a trial and a delivery of the same name do not get the same file
        trials = (("trial", str(s.trial_id)) for s in facts.returned)
        self.sheet_files = file_names([*trials, *(("delivery", d.delivery_id) for d in facts.stopped)])
        self.site_files = {site: name for (_, site), name in file_names(("site", s) for s in self.site_names).items()}
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
            **{module.__name__.rpartition(".")[2]: module for module in (round_trip, decisions)},
        }

    def sheets(self) -> Iterator[Sheet]:
        """Every fix sheet."""
        return sheets(self.facts, self.sheet_files)

    def made_from(self, sheet: Sheet) -> str:
        """The hash of everything that is on a sheet."""
        study = self.foot["study"]
        shown = (study.title, study.invented, study.citation, self.foot["study_version"])
        return sheet.made_from(shown_version(), shown, self._site_link("../")(sheet.site))

    def others(self) -> Iterator[tuple[tuple[str, ...], str]]:
        """Path parts and HTML of every other page, in the order in which they are to be written."""
        for site in self.site_names:
            yield ("sites", self.site_files[site]), self.site_page(site)
        expectations = partial(self._render, "expectations.html.j2", "")
        tops: tuple[Callable[[], str], ...] = (self.curves_page, self.safety_page, expectations, self.overview)
        for name, page in zip(_TOP, tops, strict=True):
            yield (name,), page()

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
        return self._render(
            "index.html.j2",
            "",
            deliveries=view.delivery_rows(facts),
            counts=view.count_standings(facts.current),
            returns=[(s, facts.findings_on.get((s.delivery_id, s.trial_id), ())) for s in facts.returned],
            loose=self._loose(None),
            stopped=facts.stopped,
            grid=view.completeness(facts, self.site_names),
            faults=view.frequent_faults(facts),
            tallies=view.check_tallies(facts),
            bars=self._bars(None),
            comparisons=self._comparisons(None),
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
        facts = self.facts
        return self._render(
            "site.html.j2",
            "../",
            site=next(s for s in facts.sites if s.site == site),
            deliveries=view.delivery_rows(facts, site),
            counts=view.count_standings(s for s in facts.current if s.site == site),
            returns=[
                (s, facts.findings_on.get((s.delivery_id, s.trial_id), ())) for s in facts.returned if s.site == site
            ],
            loose=self._loose(site),
            stopped=[d for d in facts.stopped if d.site == site],
            grid=view.completeness(facts, [site]),
            faults=view.frequent_faults(facts, site),
            tallies=[t for t in view.check_tallies(facts, site) if t.counts["crashed"]],
            bars=self._bars(site),
            comparisons=self._comparisons(site),
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

    def _bars(self, site: str | None) -> list[Markup]:
        """The chart of deliveries for a wide and for a narrow page."""
        rows = [
            (r.delivery.delivery_id, r.counts) for r in view.delivery_rows(self.facts, site) if any(r.counts.values())
        ]
        if not rows:
            return []
        return [standing_chart(rows, f"bars-{width}", width=width) for width in (760, 350)]

    def _comparisons(self, own: str | None) -> list[tuple[Any, Markup]]:
        sites = sorted(self.site_names, key=lambda s: s != own)
        return [
            (o, outcome_chart(o, means, list(self.facts.conditions), sites, f"outcome-{i}", own=own))
            for i, o in enumerate(o for o in self.facts.shown if o.between_sites)
            if (means := self.facts.outcomes[o.key])
        ]

    def _forests(self) -> list[tuple[Compare, Markup | None]]:
        forests: list[tuple[Compare, Markup | None]] = []
        for place, compare in enumerate(self.facts.contrasts.outcomes):
            what, drawn = compare.outcome, compare.drawn
            key = f"contrast-{place}"
            chart = forest_chart(what.title, what.unit, drawn, key, digits=what.digits) if drawn else None
            forests.append((compare, chart))
        return forests
