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
from pipelines.pages.facts import Facts, read_facts
from pipelines.pages.pictures import read_pictures
from pipelines.pages.safety import FollowUps, nobody_yet, write_safety
from pipelines.pages.sheets import Sheet, made_from
from pipelines.pages.study_pages import TOP, StudyPages
from pipelines.pages.typed import Typed

if TYPE_CHECKING:
    from pipelines.depot.store import Store
    from pipelines.study.file import LoadedStudy

log = logging.getLogger(__name__)
_AT_ONCE = 100
#: Where the page of the safety lead stood once, among the others.
_ONCE_APART = "safety.html"


class Places(Protocol):
    """The places of a depot that matter here."""

    @property
    def root(self) -> Path:
        """The depot's own folder."""

    @property
    def pages(self) -> Store:
        """Where the pages go to."""

    @property
    def safety(self) -> Store:
        """Where the page of the safety lead goes to: weeks of single runners, for the depot's owner to pass on."""

    @property
    def warehouse(self) -> Path:
        """DuckDB file the pages are read from."""


def write_pages(
    depot: Places,
    study: LoadedStudy,
    *,
    anew: bool = False,
    noted: dict[str, str] | None = None,
    follow_ups: FollowUps = nobody_yet,
    facts: Facts | None = None,
) -> Path:
    """Write all pages from the warehouse and remove those that are no longer due; returns the overview's path.

    anew: make every page, whatever its file says. noted: path below the folder -> SHA-256 as it was written, brought up
    to date; a page that is not written is not read for it. facts: of the warehouse, if they were read already.
    follow_ups: for the safety lead's page. Raises Unusable if the warehouse cannot be read. A page that
    would say the same, as its hash tells, is not made again, and no file whose content has not changed is touched.
    """
    facts = read_facts(depot.warehouse, study.study) if facts is None else facts
    pages, store = StudyPages(facts, study, Typed(depot.root.absolute(), study.path.absolute())), depot.pages
    due: set[str] = set()
    noted = {} if noted is None else noted
    written = 0
    for part in _portions(_changed(store, pages, due, anew)):
        pictures = read_pictures(depot.warehouse, [f.finding_id for sheet in part for f in sheet.drawn])
        for sheet in part:
            content = pages.sheet(sheet, pictures).encode("utf-8", "replace")
            store.put(_key(sheet), content, sync=False)
            noted[_key(sheet)] = hashlib.sha256(content).hexdigest()
            written += 1
        store.sync(map(_key, part))  # all at once: to wait for the disk at each takes longer than to make it
    for page in pages.others():
        key = "/".join(page.parts)
        due.add(key)
        if not anew and page.made_from is not None and made_from(store, key) == page.made_from:
            continue
        content = page.render().encode("utf-8", "replace")
        if not store.is_object(key) or store.read(key) != content:
            store.put(key, content)
            written += 1
        noted[key] = hashlib.sha256(content).hexdigest()
    write_safety(depot, study, follow_ups)
    for stale in (key for key in store.below() if key not in due and _is_ours(key)):
        store.remove(stale)
    for gone in noted.keys() - due:
        del noted[gone]
    noted |= {key: store.sha256(key) for key in due - noted.keys()}
    log.info("The pages are up to date.", extra=logs.facts(pages=len(due), written=written))
    return store.local("index.html")


def _key(sheet: Sheet) -> str:
    return f"fix/{sheet.name}"


def _is_ours(key: str) -> bool:
    """Whether a file was written here, perhaps in part, so that it may go."""
    folder, _, name = key.rpartition("/")
    if folder in ("fix", "sites", "deliveries", "checks"):
        return name.endswith(".html") or ".html." in name
    once = name == _ONCE_APART or name.startswith(f".{_ONCE_APART}.")
    return not folder and (once or name.startswith(tuple(f".{top}." for top in TOP)))


def _changed(store: Store, pages: StudyPages, due: set[str], anew: bool) -> list[Sheet]:
    """The sheets that say something else than their files; the keys of all are added to ``due``."""
    changed = []
    for sheet in pages.sheets():
        due.add(_key(sheet))
        if anew or made_from(store, _key(sheet)) != pages.made_from(sheet):
            changed.append(sheet)
    return changed


def _portions(sheets: list[Sheet]) -> Iterator[list[Sheet]]:
    """A few at a time, so that the signals of all need not be in memory."""
    for start in range(0, len(sheets), _AT_ONCE):
        yield sheets[start : start + _AT_ONCE]
