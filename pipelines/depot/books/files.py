"""Checksums of all that was published: results of deliveries, releases, the warehouse and the pages.

A file counts as what was published only as long as its bytes have the checksum that stands here. How that is looked at
is in ``pipelines.depot.published``. A place is a path below the depot: ``deliveries/brack-001``, ``warehouse.duckdb``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.tables import PUBLISHED

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Files:
    """Reads and writes checksums by place."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def of(self, place: str) -> dict[str, str]:
        """Path below the place -> SHA-256, as it was published; empty if nothing was."""
        c = PUBLISHED.c
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(c.path, c.sha256).where(c.place == place))
            return {str(path): str(sha) for path, sha in rows}

    def all(self) -> dict[str, dict[str, str]]:
        """Place -> path -> SHA-256."""
        c, found = PUBLISHED.c, dict[str, dict[str, str]]()
        with self._books.reading() as connection:
            for place, path, sha in connection.execute(sa.select(c.place, c.path, c.sha256)):
                found.setdefault(str(place), {})[str(path)] = str(sha)
        return found

    def named(self, path: str) -> dict[str, str]:
        """Place -> SHA-256 of the one file of this name, of every place that has it."""
        c = PUBLISHED.c
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(c.place, c.sha256).where(c.path == path))
            return {str(place): str(sha) for place, sha in rows}

    def put(self, place: str, files: Mapping[str, str]) -> None:
        """Write what a place holds now; in a transaction."""
        self.drop(place)
        rows = [{"place": place, "path": path, "sha256": sha} for path, sha in files.items()]
        if rows:
            self._books.writer().execute(sa.insert(PUBLISHED), rows)

    def drop(self, place: str) -> None:
        """Forget a place; in a transaction."""
        self._books.writer().execute(sa.delete(PUBLISHED).where(PUBLISHED.c.place == place))
