"""Which files of a payload the depot keeps, by their kind; whatever else was sent is told and not copied.

Kept are the tables of a delivery, their descriptor, and recordings: files that a table names, and others that end like
recordings. Which of them may lie in the open is decided elsewhere.
"""

from __future__ import annotations

from schemas.catalogue import tables_of
from schemas.joined import paths_of_trials
from schemas.model import Layer
from schemas.received import Received

DESCRIPTOR = "datapackage.json"
RECORDINGS = (".c3d", ".edf")


def is_table(path: str) -> bool:
    """Whether a payload path is that of one of the delivery's tables."""
    return any(path == table.file_name for table in tables_of(Layer.DELIVERY))


def left_out(received: Received) -> frozenset[str]:
    """Payload paths of files that are not of a kind the depot keeps: documents, logs, archives, tables nobody defined."""
    named = {path for paths in paths_of_trials(received).values() for path in paths}
    return frozenset(
        path
        for path in received.paths - named
        if not (is_table(path) or path == DESCRIPTOR or path.lower().endswith(RECORDINGS))
    )
