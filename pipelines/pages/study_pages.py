"""The pages of a study: overview, worklist, what came, checks, answers, curves, whole sites, one page per site.

What a page says is in ``facts``, ``view`` and ``worklist``; which are written, and in which order, is in ``build``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from markupsafe import Markup

from pipelines.pages import round_trip, view
from pipelines.pages.check_pages import check_pages
from pipelines.pages.compared import bands, bars, comparisons, curve_panels, flows, forests
from pipelines.pages.completeness import Grid, completeness
from pipelines.pages.delivery_pages import delivery_pages
from pipelines.pages.dictionary import EXAMPLES, layers
from pipelines.pages.facts import Facts, Finding, Standing
from pipelines.pages.further import NEWEST, STAY, Further, LongTable, only_some, split
from pipelines.pages.names import file_names, link
from pipelines.pages.rendering import Pages
from pipelines.pages.scripts import list_script
from pipelines.pages.site_section import site_section
from pipelines.pages.typed import Typed
from pipelines.pages.words import visit_words
from pipelines.pages.worklist import as_csv, new_in, worklist
from pipelines.versions import shown_version
from schemas.glossary import TERMS

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy


@dataclass(frozen=True)
class Page:
    """One page that is no fix sheet. parts: of its path; made_from: hash of all that is on it, None if always made."""

    parts: tuple[str, ...]
    render: Callable[[], str]
    made_from: str | None = None


class Hashed(Protocol):
    """What one page of a folder says, as plain values."""

    def made_from(self, *look: object) -> str:
        """The hash of everything on the page. look: what it is shown with."""


class SiteRow(NamedTuple):
    """One site on the overview. chart: its trials over the study; notes: on the site as a whole; grid: its visits and
    conditions.
    """

    site: str
    counts: dict[str, int]
    waiting: round_trip.OpenReturns
    stopped: int
    last_utc: str
    notes: int
    chart: Markup | None
    grid: Grid


class StudyPages(Pages):
    """Renders every page of the warehouse of a study. to_top: from the page of a site to the folder of all pages.

    typed: the commands that the data manager's pages offer.
    """

    to_top = "../"

    def __init__(self, facts: Facts, study: LoadedStudy, typed: Typed | None = None) -> None:
        super().__init__(facts, study)
        self.typed, self.work = typed, worklist(facts, typed)
        self.common |= {"lists": list_script()}
        self.tables = {site: self._tables(site) for site in self.site_names}
        further = [p for tables in self.tables.values() for table in tables.values() for p in table.further]
        named = [("site", s) for s in self.site_names] + [("further", f"{p.site}-{p.kind}-{p.number}") for p in further]
        files = file_names(named)
        self.site_files = {site: files["site", site] for site in self.site_names}
        self.delivery_files = file_names(("delivery", d.delivery_id) for d in facts.deliveries)
        self.check_files = file_names(("check", name) for name in sorted({run.check_name for run in facts.check_runs}))
        self.tables = {
            site: {kind: table.named(files) for kind, table in tables.items()} for site, tables in self.tables.items()
        }

    def others(self) -> Iterator[Page]:
        """Every page that is no fix sheet, in the order in which they are to be written."""
        for site in self.site_names:
            yield from self.further(site)
            yield Page(("sites", self.site_files[site]), partial(self.site_page, site))
        for delivery in delivery_pages(self.facts):
            name = self.delivery_files["delivery", delivery.row.delivery.delivery_id]
            links = [self.sheet_files.get(("trial", str(one.standing.trial_id))) for one in delivery.trials]
            yield self._hashed("deliveries", name, "delivery.html.j2", delivery, links)
        for check in check_pages(self.facts, self.foot["study"]):
            links = [self.sheet_files.get(("trial", str(f.trial_id))) for f in check.waiting]
            yield self._hashed("checks", self.check_files["check", check.name], "check.html.j2", check, links)
        for name, page in TOP.items():
            yield Page((name,), partial(page, self))

    def further(self, site: str) -> Iterator[Page]:
        """The rest of a site's tables that are too long for its own page."""
        for table in self.tables[site].values():
            yield from map(self._further_page, table.further)

    def _further_page(self, page: Further) -> Page:
        links = [self._links_of(page.kind, row) for row in page.rows]
        return self._hashed("sites", page.name, "further.html.j2", page, [self.site_link("../")(page.site), *links])

    def _hashed(self, folder: str, name: str, template: str, page: Hashed, links: Sequence[str | None]) -> Page:
        """A page of a folder that is made again only if it would say something else. links: where it leads."""
        study = self.foot["study"]
        shown = (study.title, study.invented, study.citation, self.foot["study_version"], self.common["judged_by"])
        word = page.made_from(shown_version(), shown, self.facts.visits, self.site_files, links)
        render = partial(self.render_page, template, "../", page=page, made_from=word)
        return Page((folder, name), render, word)

    def _links_of(self, kind: str, row: Any) -> str | None:
        if kind == "returns":
            return self.sheet_files["trial", row[0].trial_id]
        return self.stopped_link("")(row.delivery) if kind == "deliveries" else None

    def _tables(self, site: str) -> dict[str, LongTable]:
        rows: dict[str, Sequence[Any]] = {"returns": self._returns(site), "tables": self.loose(site)}
        rows["deliveries"] = view.delivery_rows(self.facts, site)
        return {kind: split(site, kind, own) for kind, own in rows.items()}

    def _returns(self, site: str) -> list[tuple[Standing, tuple[Finding, ...]]]:
        on = self.facts.findings_on
        return [(s, on.get((s.delivery_id, s.trial_id), ())) for s in self.facts.returned if s.site == site]

    def overview(self) -> str:
        """Where the study stands, on one screen."""
        facts = self.facts
        return self.render_page(
            "index.html.j2",
            "",
            deliveries_total=len(facts.deliveries),
            counts=view.count_standings(facts.current),
            stopped=facts.stopped,
            work=self.work,
            new_in=new_in,
            site_rows=list(self._site_rows()),
        )

    def _site_rows(self) -> Iterator[SiteRow]:
        facts, charts = self.facts, flows(self.facts)
        for waiting in round_trip.open_returns(facts, self.site_names):
            site = waiting.site
            yield SiteRow(
                site,
                view.count_standings(s for s in facts.current if s.site == site),
                waiting,
                sum(d.site == site for d in facts.stopped),
                max((d.received_utc for d in facts.deliveries if d.site == site), default=""),
                len(facts.whole.findings(facts.findings, site)),
                charts[site],
                self.grid([site]),
            )

    def grid(self, sites: Sequence[str]) -> Grid:
        """What is complete of these sites."""
        return completeness(self.facts, sites, self.foot["study"].planned_runners)

    def worklist_page(self) -> str:
        """What is to be done, for the data manager."""
        stopped = {d.delivery_id: d for d in self.facts.stopped}
        return self.render_page(
            "worklist.html.j2",
            "",
            work=self.work,
            new_in=new_in,
            site_names=self.site_names,
            stay=STAY,
            typed=self.typed,
            beyond=self._beyond(),
            visits_in_order=[visit_words(visit, self.facts.visits) for visit in self.facts.visits],
            stopped_by_id=lambda delivery_id: self.stopped_link("")(stopped[delivery_id]),
        )

    def _beyond(self) -> int:
        """Rows of the worklist that are not on its page."""
        of_sites = [[row for row in self.work.send if row.site == site] for site in {r.site for r in self.work.send}]
        return sum(max(0, len(rows) - STAY) for rows in (self.work.decide, *of_sites, self.work.noted, self.work.done))

    def deliveries_page(self) -> str:
        """What came, for the data manager."""
        rows = view.delivery_rows(self.facts)
        return self.render_page(
            "deliveries.html.j2",
            "",
            deliveries=only_some(rows, newest=True),
            newest=NEWEST,
            grid=self.grid(self.site_names),
            site_names=self.site_names,
            **bars(rows),
        )

    def checks_page(self) -> str:
        """What goes back most and how checks ended, for the data manager."""
        return self.render_page(
            "checks.html.j2",
            "",
            faults=view.frequent_faults(self.facts),
            loose=only_some(self.loose(None)),
            tallies=view.check_tallies(self.facts),
            site_names=self.site_names,
        )

    def answers_page(self) -> str:
        """How conditions and sites compare, for the statistician."""
        values = comparisons(self.facts, self.site_names)
        return self.render_page(
            "answers.html.j2",
            "",
            forests=forests(self.facts),
            bands=bands(self.facts.planned),
            site_names=self.site_names,
            **values,
        )

    def curves_page(self) -> str:
        """Mean curves, for the statistician."""
        return self.render_page("curves.html.j2", "", drawn=list(curve_panels(self.facts)))

    def expectations_page(self) -> str:
        """What was expected of whole sites, for the data manager."""
        return self.render_page("expectations.html.j2", "")

    def glossary_page(self) -> str:
        """Words of the trade, for everybody."""
        return self.render_page("glossary.html.j2", "", terms=TERMS)

    def dictionary_page(self) -> str:
        """Every table and column, for the statistician."""
        return self.render_page("dictionary.html.j2", "", layers=list(layers()), examples=EXAMPLES)

    def site_page(self, site: str) -> str:
        """The page for the lead of one site."""
        facts, tables = self.facts, self.tables[site]
        return self.render_page(
            "site.html.j2",
            self.to_top,
            site=next(s for s in facts.sites if s.site == site),
            deliveries=tables["deliveries"],
            counts=view.count_standings(s for s in facts.current if s.site == site),
            returns=tables["returns"],
            loose=tables["tables"],
            stopped=facts.stopped_of(site),
            grid=self.grid([site]),
            faults=view.frequent_faults(facts, site),
            tallies=[t for t in view.check_tallies(facts, site) if t.counts["crashed"]],
            **bars(view.delivery_rows(facts, site)),
            **({} if self.alone else comparisons(facts, self.site_names, site)),
            against=() if self.alone else view.against_others(facts, site),
            whole=site_section(facts, site),
            next_number=facts.next_number(site),
            noted=[row for row in self.work.noted if row.site == site],
            stay=STAY,
        )

    def worklist_table(self) -> str:
        """The worklist as CSV."""
        return as_csv(self.work.waiting)

    def delivery_link(self, root: str) -> Callable[[str], str | None]:
        """Leads to the page of a delivery."""
        files = {} if self.alone else self.delivery_files
        return lambda name: root + link("deliveries", own) if (own := files.get(("delivery", name))) else None

    def check_link(self, root: str) -> Callable[[str], str | None]:
        """Leads to the page of a check that ran."""
        files = {} if self.alone else self.check_files
        return lambda name: root + link("checks", own) if (own := files.get(("check", name))) else None


#: The pages beside those of sites, in the order in which they are written: the overview, which leads to all, is last.
TOP: dict[str, Callable[[StudyPages], str]] = {
    "glossary.html": StudyPages.glossary_page,
    "dictionary.html": StudyPages.dictionary_page,
    "curves.html": StudyPages.curves_page,
    "expectations.html": StudyPages.expectations_page,
    "answers.html": StudyPages.answers_page,
    "checks.html": StudyPages.checks_page,
    "deliveries.html": StudyPages.deliveries_page,
    "worklist.csv": StudyPages.worklist_table,
    "worklist.html": StudyPages.worklist_page,
    "index.html": StudyPages.overview,
}
