"""Renders fix sheets, and holds what every page needs: facts in, HTML out. How a page looks is in the templates.

The pages of a study are in ``study_pages``, those of a check at a laboratory in ``lab_report``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from checks.evidence import Picture
from pipelines.pages import consent_notes, decisions, round_trip, view
from pipelines.pages.charts.picture import drawings
from pipelines.pages.facts import Delivery, Facts, Finding
from pipelines.pages.names import file_names, link
from pipelines.pages.sheets import Sheet, sheets
from pipelines.pages.templating import page_style, templates
from pipelines.versions import shown_version

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy


class Pages:
    """What all pages of one warehouse share. at_lab: for a report that stays at the laboratory, see ``lab_report``.
    alone: for pages that travel without the others, see ``parcel``.

    site_files: site -> name of its page; none where there is no page of a site to lead to.
    """

    at_lab = alone = False

    def __init__(self, facts: Facts, study: LoadedStudy) -> None:
        self.facts = facts
        self.site_names = [s.site for s in facts.sites]
        # one list, so that a trial and a delivery of the same name do not get the same file
        trials = (("trial", str(s.trial_id)) for s in facts.returned)
        self.sheet_files = file_names([*trials, *(("delivery", d.delivery_id) for d in facts.stopped)])
        self.site_files: dict[str, str] = {}
        self.templates = templates()
        self.foot: dict[str, Any] = {
            "study": study.study,
            "study_version": study.version,
            "at_lab": self.at_lab,
            "alone": self.alone,
            **page_style(),
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
        checks = [self.check_link("../")(name) for name in sheet.checks]
        return sheet.made_from(shown_version(), shown, self.site_link("../")(sheet.site), checks)

    def sheet(self, sheet: Sheet, pictures: Mapping[str, Picture]) -> str:
        """One fix sheet. pictures: finding -> picture, of at least those that it draws."""
        drawn = {
            f.finding_id: drawings(picture, f.moment_s, f"picture-{number}")
            for number, f in enumerate(sheet.drawn)
            if (picture := pictures.get(f.finding_id))
        }
        return self.templates.get_template(sheet.template).render(
            **self.foot,
            root="../",
            made_from=self.made_from(sheet),
            site_link=self.site_link("../"),
            check_link=self.check_link("../"),
            drawings=drawn,
            **sheet.values,
        )

    def render_page(self, template: str, root: str, **values: Any) -> str:
        """A page by its template. root: from the page to the folder of all pages."""
        return self.templates.get_template(template).render(
            **self.common,
            root=root,
            sheet_link=lambda trial_id: root + link("fix", self.sheet_files["trial", trial_id]),
            stopped_link=self.stopped_link(root),
            delivery_link=self.delivery_link(root),
            check_link=self.check_link(root),
            site_link=self.site_link(root),
            **values,
        )

    def site_link(self, root: str) -> Callable[[str | None], str | None]:
        """Leads to the page of a site, if there is one."""
        return lambda site: root + link("sites", self.site_files[site]) if site in self.site_files else None

    def delivery_link(self, root: str) -> Callable[[str], str | None]:
        """Leads to the page of a delivery: of a study's pages alone, see ``study_pages``."""
        return lambda name: None

    def check_link(self, root: str) -> Callable[[str], str | None]:
        """Leads to the page of a check: of a study's pages alone, see ``study_pages``."""
        return lambda name: None

    def stopped_link(self, root: str) -> Callable[[Delivery], str | None]:
        """Leads to the fix sheet of a stopped delivery, if there is one."""

        def to(delivery: Delivery) -> str | None:
            name = self.sheet_files.get(("delivery", delivery.delivery_id))
            return root + link("fix", name) if name else None

        return to

    def loose(self, site: str | None) -> list[Finding]:
        """Findings about tables that touch no trial, of deliveries that were taken in."""
        taken = {d.delivery_id for d in self.facts.deliveries if d.status == "taken_in"}
        return [
            f
            for f in self.facts.findings
            if f.trial_id is None and f.delivery_id in taken and f.weight != "stops" and site in (None, f.site)
        ]
