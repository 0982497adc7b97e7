"""Notes on how a delivery was packed, told again when it is judged again from the bag the depot puts together.

They were made when it came; which they are is in ``pipelines.intake.bag``. A name in one may be known only since, or be
the code of a runner who has withdrawn since: it is not told then.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import product

from pipelines.consent.redaction import ScopesOf
from pipelines.identity.guard import KEPT_BACK, shown_problem
from pipelines.identity.names import KnownNames
from schemas.privacy import EVERY_SCOPE
from schemas.received import Problem

_QUOTED = re.compile(r"'(.*)'", re.DOTALL)
_EDGE = re.compile(r"(?<![0-9A-Za-z])|(?![0-9A-Za-z])")


def told_again(notes: Iterable[Problem], withdrawn: ScopesOf, known: KnownNames) -> Iterator[Problem]:
    """The notes as they may be told today. withdrawn: what a runner has withdrawn, by id."""
    for note in notes:
        name = _QUOTED.search(note.seen)
        if name is not None and any(EVERY_SCOPE in withdrawn(part) for part in _wholes(name[1])):
            note = replace(note, seen=note.seen.replace(name[0], KEPT_BACK))
        yield shown_problem(note, known)


def _wholes(text: str) -> set[str]:
    """Every part of a text that stands in it as a whole, as a code of several words may."""
    edges = [found.start() for found in _EDGE.finditer(text)]
    return {text[a:b] for a, b in product(edges, edges) if a < b}
