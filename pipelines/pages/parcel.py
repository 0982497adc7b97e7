"""A parcel for one laboratory: its page, its fix sheets, its returns as CSV and a letter, in one zip.

It needs nothing else. It is made of facts that were narrowed to the laboratory before any page is rendered, so that
nothing of another one can be in it. Nothing is sent.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot.store import write_bytes
from pipelines.errors import Unusable
from pipelines.pages.facts import Facts, read_facts
from pipelines.pages.lab_report import refuse_existing
from pipelines.pages.letter import letter
from pipelines.pages.pictures import read_pictures
from pipelines.pages.study_pages import StudyPages
from pipelines.pages.worklist import as_csv

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy

#: The page to begin with.
FIRST = "index.html"
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
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as parcel:
        for name, text in _files(facts_of(facts, site), study, site, warehouse):
            parcel.writestr(zipfile.ZipInfo(name, _TIME), text.encode("utf-8", "replace"), zipfile.ZIP_DEFLATED)
    write_bytes(to, content.getvalue(), owner_only=True)
    return to


def _facts(warehouse: Path, study: LoadedStudy) -> Facts:
    import duckdb

    try:
        return read_facts(warehouse, study.study)
    except (duckdb.CatalogException, duckdb.BinderException):
        seen, expected = "The warehouse was made by another version.", "one that this version made."
        raise Unusable(seen, expected, "Run manystrides run first.", file=warehouse) from None


def facts_of(facts: Facts, site: str) -> Facts:
    """The same facts with nothing of any other laboratory."""
    return replace(
        facts,
        sites=tuple(s for s in facts.sites if s.site == site),
        deliveries=tuple(d for d in facts.deliveries if d.site == site),
        standings=tuple(s for s in facts.standings if s.site == site),
        findings=tuple(f for f in facts.findings if f.site == site),
        check_runs=tuple(r for r in facts.check_runs if r.site == site),
        outcomes={key: tuple(row for row in rows if row[0] == site) for key, rows in facts.outcomes.items()},
        doubts=tuple(d for d in facts.doubts if d.site == site),
        set_aside=tuple(o for o in facts.set_aside if o.site == site),
        whole=replace(
            facts.whole,
            ended=tuple(e for e in facts.whole.ended if e.site == site),
            expectations=tuple(e for e in facts.whole.expectations if e.site == site),
            charts={name: points for name, points in facts.whole.charts.items() if name == site},
        ),
    )


def _files(facts: Facts, study: LoadedStudy, site: str, warehouse: Path) -> Iterator[tuple[str, str]]:
    """Name in the zip and text of every file."""
    pages = _Parcel(facts, study)
    work, listed = pages.work, list(pages.sheets())
    pictures = read_pictures(warehouse, [f.finding_id for sheet in listed for f in sheet.drawn])
    yield "letter.txt", letter(facts, work, site, study.study.title, invented=study.study.invented)
    yield FIRST, pages.site_page(site)
    yield "returns.csv", as_csv((*work.send, *work.noted), commands=False)
    for sheet in listed:
        yield f"fix/{sheet.name}", pages.sheet(sheet, pictures)
    for page in pages.further(site):
        yield "/".join(page.parts), page.render()


class _Parcel(StudyPages):
    """The pages of one laboratory without the others: its own page is the first, and stands above its sheets."""

    alone, to_top = True, ""

    def site_link(self, root: str) -> Callable[[str | None], str | None]:
        """Leads to the first page."""
        return lambda site: root + FIRST if site in self.site_files else None
