"""Writes the pages: which are due, which say something else than their files, in which order they are put in place.

Fix sheets are written first, the overview last and stale pages are removed after that, each file in one step: a reader
with the old overview open never meets a broken link, whenever the run is killed.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from pipelines import logs
from pipelines.depot.published import sha256_of
from pipelines.depot.storage import to_disk, write_bytes
from pipelines.pages.facts import read_facts
from pipelines.pages.rendering import SAFETY, TOP, Pages
from pipelines.pages.sheets import Sheet, made_from
from pipelines.pages.traces import read_traces

if TYPE_CHECKING:
    from pipelines.study.file import LoadedStudy

log = logging.getLogger(__name__)
_AT_ONCE = 100


class Places(Protocol):
    """The two places of a depot that matter here."""

    @property
    def pages(self) -> Path:
        """Folder the pages go to."""

    @property
    def warehouse(self) -> Path:
        """DuckDB file the pages are read from."""


def write_pages(depot: Places, study: LoadedStudy, *, anew: bool = False, noted: dict[str, str] | None = None) -> Path:
    """Write all pages from the warehouse and remove those that are no longer due; returns the overview's path.

    anew: make every page, whatever its file says. noted: path below the folder -> SHA-256 as it was written, brought up
    to date; a page that is not written is not read for it. Raises Unusable if the warehouse cannot be read. A page that
    would say the same, as its hash tells, is not made again, and no file whose content has not changed is touched.
    """
    facts = read_facts(depot.warehouse, study.study)
    pages = Pages(facts, study)
    due: set[Path] = set()
    noted = {} if noted is None else noted
    written = 0
    for part in _portions(_changed(depot, pages, due, anew)):
        traces = read_traces(depot.warehouse, [f.finding_id for sheet in part for f in sheet.drawn])
        for sheet in part:
            content = pages.sheet(sheet, traces).encode("utf-8", "replace")
            write_bytes(depot.pages / "fix" / sheet.name, content, sync=False)
            noted[f"fix/{sheet.name}"] = hashlib.sha256(content).hexdigest()
            written += 1
        # all at once, since to wait for the disk at each takes longer than to make it
        for path in (*(depot.pages / "fix" / sheet.name for sheet in part), depot.pages / "fix"):
            to_disk(path)
    for page in pages.others():
        path = depot.pages.joinpath(*page.parts)
        due.add(path)
        if not anew and page.made_from is not None and made_from(path) == page.made_from:
            continue
        content = page.render().encode("utf-8", "replace")
        if not path.is_file() or path.read_bytes() != content:
            write_bytes(path, content, owner_only=path.name == SAFETY)
            written += 1
        noted["/".join(page.parts)] = hashlib.sha256(content).hexdigest()
    for folder, pattern in (("fix", "*"), ("sites", "*"), *((".", f".{name}.*") for name in TOP)):
        for stale in set((depot.pages / folder).glob(pattern)) - due:
            if stale.suffix == ".html" or ".html." in stale.name:
                stale.unlink()
    keys = {path.relative_to(depot.pages).as_posix() for path in due}
    for key in noted.keys() - keys:
        del noted[key]
    noted |= {key: sha256_of(depot.pages / key) for key in keys - noted.keys()}
    log.info("The pages are up to date.", extra=logs.facts(pages=len(due), written=written))
    return depot.pages / "index.html"


def _changed(depot: Places, pages: Pages, due: set[Path], anew: bool) -> list[Sheet]:
    """The sheets that say something else than their files; the paths of all are added to ``due``."""
    changed = []
    for sheet in pages.sheets():
        path = depot.pages / "fix" / sheet.name
        due.add(path)
        if anew or made_from(path) != pages.made_from(sheet):
            changed.append(sheet)
    return changed


def _portions(sheets: list[Sheet]) -> Iterator[list[Sheet]]:
    """A few at a time, so that the signals of all need not be in memory."""
    for start in range(0, len(sheets), _AT_ONCE):
        yield sheets[start : start + _AT_ONCE]
