"""Long tables of a site: what stands on the site's own page, and the further pages that hold the rest.

A page that lists everything of a large study takes long to make and cannot be read. Of deliveries the newest stay on
the site's page and the older ones stand on pages that never change again; of anything else the first rows stay.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pipelines.pages.digest import digest_of
from pipelines.pages.names import link

#: Rows that stay on a page, and rows of each further page: own choice, a page is then about 200 kB at most.
STAY, EACH = 100, 100
#: Deliveries that are seen at once; earlier ones are folded: own choice, about one screen.
NEWEST = 10
#: Kind of table -> the heading of its further pages.
TITLES = {"returns": "What must be sent again", "tables": "In the tables", "deliveries": "What came"}


@dataclass(frozen=True)
class Further:
    """One further page. first, last: which rows of the whole table it holds, counted from 1. name: of its file."""

    site: str
    kind: str
    number: int
    first: int
    last: int
    rows: tuple[Any, ...]
    name: str = ""

    @property
    def link(self) -> str:
        """From the folder of all pages."""
        return link("sites", self.name)

    @property
    def words(self) -> str:
        """What it holds, for its heading."""
        return f"{TITLES[self.kind]}, {self.first} to {self.last}"

    def made_from(self, *look: object) -> str:
        """The hash of everything on the page. look: what it is shown with."""
        return digest_of(self.site, self.kind, self.first, self.last, self.rows, self.name, look)


@dataclass(frozen=True)
class LongTable:
    """A table of which ``rows`` stand on the page itself. total: of all rows."""

    rows: tuple[Any, ...]
    total: int
    further: tuple[Further, ...] = ()

    def __len__(self) -> int:
        return self.total

    def named(self, files: Mapping[tuple[str, str], str]) -> LongTable:
        """The same with the names of the further pages. files: ("further", site-kind-number) -> file name."""
        further = (replace(p, name=files["further", f"{p.site}-{p.kind}-{p.number}"]) for p in self.further)
        return replace(self, further=tuple(further))


def only_some(rows: Sequence[Any], *, newest: bool = False) -> LongTable:
    """The first rows, or the last ones; all the others stand elsewhere."""
    return LongTable(tuple(rows[-STAY:] if newest else rows[:STAY]), len(rows))


def split(site: str, kind: str, rows: Sequence[Any]) -> LongTable:
    """A site's table with its further pages, which have no names yet."""
    count = max(0, -(-(len(rows) - STAY) // EACH))
    if kind == "deliveries":  # full pages of the oldest ones, so that a new delivery changes none of them
        count = max(0, len(rows) - STAY) // EACH
        starts, here = [EACH * n for n in range(count)], rows[EACH * count :]
    else:
        starts, here = [STAY + EACH * n for n in range(count)], rows[:STAY]
    further = tuple(
        Further(site, kind, number, start + 1, start + len(part), part)
        for number, start in enumerate(starts, start=2)
        for part in [tuple(rows[start : start + EACH])]
    )
    return LongTable(tuple(here), len(rows), further)
