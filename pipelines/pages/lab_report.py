"""The report of a check at the laboratory: an overview and a fix sheet per faulty trial, of the depot's own pages.

It is a folder of its own that may be kept, printed or passed on; nothing in it needs the depot, a script or a network.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot.disk import write_bytes
from pipelines.depot.new_files import part_beside, put_in_place, refuse_place
from pipelines.pages import view
from pipelines.pages.completeness import completeness
from pipelines.pages.lab_facts import facts_of_result, pictures_of_result
from pipelines.pages.rendering import Pages
from schemas.model import Table
from schemas.reading import Identifying

if TYPE_CHECKING:
    import pandas as pd

    from pipelines.study.file import LoadedStudy


@dataclass(frozen=True)
class LabNotes:
    """What the check knows beyond the tables of the result. name: what was checked. clean: nothing must be mended."""

    name: str
    clean: bool
    identifying: Sequence[Identifying] = ()
    differences: Sequence[str] = ()


def write_lab_report(tables: Mapping[Table, pd.DataFrame], study: LoadedStudy, out: Path, notes: LabNotes) -> Path:
    """Write the report into the new folder ``out``, whole or not at all; returns its first page.

    tables: every table of the result that is told of.
    Raises Unusable if ``out`` exists or its folder does not.
    """
    refuse_existing(out)
    facts = facts_of_result(tables, study.study)
    with part_beside(out) as work:
        pages = _LabPages(facts, study)
        listed = list(pages.sheets())
        pictures = pictures_of_result(tables, [f.finding_id for sheet in listed for f in sheet.drawn])
        for sheet in listed:
            write_bytes(work / "fix" / sheet.name, pages.sheet(sheet, pictures).encode("utf-8", "replace"))
        write_bytes(work / "index.html", pages.first_page(notes).encode("utf-8", "replace"))
        put_in_place(work, out)
    return out / "index.html"


def refuse_existing(out: Path) -> None:
    """Raise Unusable unless ``out`` can be made as a new folder."""
    refuse_place(out)


class _LabPages(Pages):
    """The pages of one delivery, for the laboratory that has yet to send it."""

    at_lab = True

    def first_page(self, notes: LabNotes) -> str:
        """The overview of what was found."""
        facts = self.facts
        on_sheets = {s.trial_id for s in facts.returned}
        sites = list(dict.fromkeys(d.site for d in facts.deliveries if d.site))
        return self.render_page(
            "lab.html.j2",
            "",
            notes=notes,
            counts=view.count_standings(facts.current),
            returns=[(s, facts.findings_on.get((s.delivery_id, s.trial_id), ())) for s in facts.returned],
            stopped=facts.stopped,
            loose=[f for f in self.loose(None) if f.weight != "notes"],
            notices=[
                f
                for f in facts.findings
                if f.weight == "notes" and f.trial_id not in on_sheets and f.consequence_of is None
            ],
            grid=completeness(facts, sites, {}),
            tallies=view.check_tallies(facts),
        )
