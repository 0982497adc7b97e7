"""What programs write of themselves into every file: known facts about writers, which tell nothing of a runner.

They stand in ``words/writers.csv``: group, parameter, and the SHA-256 of the value in UTF-8 without spaces
around it, so that no address need stand here. Any other value at the same place is searched like every text.
"""

from __future__ import annotations

import csv
import hashlib
from functools import cache
from importlib import resources


def writes_of_itself(place: str, text: str) -> bool:
    """Whether a program is known to write this ``text`` into every file at ``place``, as "GROUP:PARAMETER"."""
    known = _known().get(place.upper())
    return known is not None and hashlib.sha256(text.strip().encode()).hexdigest() in known


@cache
def _known() -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    text = resources.files("pipelines.identity").joinpath("words", "writers.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        found.setdefault(f"{row['group']}:{row['parameter']}", set()).add(row["sha256"])
    return {place: frozenset(values) for place, values in found.items()}
