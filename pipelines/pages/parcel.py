"""A parcel for one laboratory: its page, its fix sheets, its returns as CSV and a letter, in one zip.

It needs nothing else. It is made of facts that were narrowed to the laboratory before any page is rendered, so that
nothing of another one can be in it. Nothing is sent.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot.disk import write_bytes
from pipelines.errors import Unusable
from pipelines.pages.digest import digest_of
from pipelines.pages.facts import Delivery, Facts, Finding, read_facts
from pipelines.pages.lab_report import refuse_existing
from pipelines.pages.letter import letter, wrapped
from pipelines.pages.pictures import read_pictures
from pipelines.pages.sheets import told_in
from pipelines.pages.study_pages import StudyPages
from pipelines.pages.worklist import as_csv

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy

#: The page to begin with, and the letter, its first line a subject.
FIRST, LETTER = "index.html", "letter.txt"
#: Half as long to make as what is usual, and a twentieth larger.
_DEFLATE_LEVEL = 4
#: Check and place of the finding on a bag that lay in the inbox of another site than it names.
_MISPLACED = ("bag_info_names_site_and_number", "Site")
#: Of every file in the zip, so that the same parcel is the same bytes.
_TIME = (1980, 1, 1, 0, 0, 0)


def write_parcel(warehouse: Path, study: LoadedStudy, site: str, to: Path) -> Path:
    """Write the zip for a laboratory as the new file ``to``, whole or not at all.

    Raises Unusable if the study does not know the laboratory, or if ``to`` exists or its folder does not.
    """
    refuse_existing(to)
    facts = _facts(warehouse, study)
    if site not in {s.site for s in facts.sites}:
        known = ", ".join(s.site for s in facts.sites)
        raise Unusable(f"The study has no site {site!r}.", f"one of {known}.", "Name it as in the study file.")
    parcel = Parcel(facts_of(facts, site), study, site)
    write_bytes(to, as_zip(parcel.files(warehouse)), owner_only=True)
    return to


def as_zip(files: Iterable[tuple[str, str]], comment: str = "") -> bytes:
    """A zip of texts by name; the same texts are the same bytes. comment: ASCII, stands in it."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as parcel:
        parcel.comment = comment.encode("ascii")
        for name, text in files:
            content_of = text.encode("utf-8", "replace")
            parcel.writestr(zipfile.ZipInfo(name, _TIME), content_of, zipfile.ZIP_DEFLATED, _DEFLATE_LEVEL)
    return content.getvalue()


def _facts(warehouse: Path, study: LoadedStudy) -> Facts:
    import duckdb

    try:
        return read_facts(warehouse, study.study)
    except (duckdb.CatalogException, duckdb.BinderException):
        seen, expected = "The warehouse was made by another version.", "one that this version made."
        raise Unusable(seen, expected, "Run manystrides run first.", file=warehouse) from None


def facts_of(facts: Facts, site: str) -> Facts:
    """The same facts with nothing of any other laboratory."""
    deliveries, findings = _told_to(facts, site)
    own = replace(
        facts,
        sites=tuple(s for s in facts.sites if s.site == site),
        deliveries=deliveries,
        standings=tuple(s for s in facts.standings if s.site == site),
        findings=findings,
        check_runs=tuple(r for r in facts.check_runs if r.site == site),
        outcomes={key: tuple(row for row in rows if row[0] == site) for key, rows in facts.outcomes.items()},
        doubts=tuple(d for d in facts.doubts if d.site == site),
        set_aside=tuple(o for o in facts.set_aside if o.site == site),
        silent=tuple(s for s in facts.silent if s.site == site),
        whole=replace(
            facts.whole,
            ended=tuple(e for e in facts.whole.ended if e.site == site),
            expectations=tuple(e for e in facts.whole.expectations if e.site == site),
            charts={name: points for name, points in facts.whole.charts.items() if name == site},
        ),
    )
    # both are told of each laboratory by itself, and are not worked out once more
    vars(own)["habits"] = tuple(habit for habit in facts.habits if habit.site == site)
    vars(own)["round_trips"] = tuple(trip for trip in facts.round_trips if trip.site == site)
    return own


def _told_to(facts: Facts, site: str) -> tuple[tuple[Delivery, ...], tuple[Finding, ...]]:
    """Deliveries and findings of a site.

    A bag that lay in the inbox of another site than it names is told to both, and of it only that: what else was found
    in it may be the other one's. Neither is told of one that is only a copy of what is held.
    """
    placed = {d.delivery_id for d in facts.deliveries if d.named_site is None}
    reasons = [f for f in facts.findings if f.delivery_id not in placed and (f.check_name, f.place) == _MISPLACED]
    asked = placed | {f.delivery_id for f in reasons}
    own = [d for d in facts.deliveries if site in (d.site, d.named_site) and d.delivery_id in asked]
    names = {d.delivery_id for d in own}
    return (
        tuple(replace(d, site=site, named_site=None) for d in own),
        (
            *(f for f in facts.findings if f.site == site and f.delivery_id in placed),
            *(replace(f, site=site) for f in reasons if f.delivery_id in names),
        ),
    )


class Parcel(StudyPages):
    """The pages of one laboratory without the others: its own page is the first, and stands above its sheets.

    facts: narrowed to it.
    """

    alone, to_top = True, ""

    def __init__(self, facts: Facts, study: LoadedStudy, site: str) -> None:
        super().__init__(facts, study)
        self._site, self._study = site, study.study

    def site_link(self, root: str) -> Callable[[str | None], str | None]:
        """Leads to the first page."""
        return lambda site: root + FIRST if site in self.site_files else None

    def files(self, warehouse: Path, before: Mapping[str, bytes] | None = None) -> Iterator[tuple[str, str]]:
        """Name in the zip and text of every file.

        before: files of an older parcel, of which a sheet that says the same is not made again.
        """
        listed = list(self.sheets())
        kept = {name: page for name, page in (before or {}).items() if told_in(page) is not None}
        same = {s.name for s in listed if told_in(kept.get(f"fix/{s.name}", b"")) == self.made_from(s)}
        drawn = [f.finding_id for sheet in listed if sheet.name not in same for f in sheet.drawn]
        pictures = read_pictures(warehouse, drawn)
        yield LETTER, wrapped(self.letter)
        yield FIRST, self._first
        yield "returns.csv", self._csv
        for sheet in listed:
            name = f"fix/{sheet.name}"
            yield name, kept[name].decode() if sheet.name in same else self.sheet(sheet, pictures)
        for page in self.further(self._site):
            yield "/".join(page.parts), page.render()

    def made_of(self) -> str:
        """The hash of all that is in it; no picture is read for it."""
        sheets = [(sheet.name, self.made_from(sheet)) for sheet in self.sheets()]
        further = [(page.parts, page.made_from) for page in self.further(self._site)]
        return digest_of(self.letter, self._first, self._csv, sheets, further)

    @cached_property
    def letter(self) -> str:
        """The letter, its first line a subject."""
        study = self._study
        within = study.answer_within_days
        return letter(
            self.facts, self.work, self._site, study.title, invented=study.invented, answer_within_days=within
        )

    @cached_property
    def _first(self) -> str:
        return self.site_page(self._site)

    @cached_property
    def _csv(self) -> str:
        return as_csv((*self.work.send, *self.work.noted), commands=False)
