"""What is made of what the books know, without a database: a laboratory's own check does the same with what it has."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping

from pipelines.depot.books.rows import Override
from schemas.received import ConsentEvent


def knowledge(events: Iterable[ConsentEvent]) -> str:
    """All that is known of one runner, as one word."""
    return hashlib.sha256(repr(sorted(set(events), key=repr)).encode()).hexdigest()


def in_force(
    overrides: Iterable[Override], site: str | None, files: Mapping[str, Iterable[str]]
) -> tuple[Override, ...]:
    """Those that count for trials of a delivery. files: trial id -> checksums of its files, which must be the same."""
    return tuple(
        o for o in overrides if o.taken_back is None and o.site == site and tuple(files.get(o.trial_id, ())) == o.files
    )
