"""Notes on how a delivery was packed, told again when it is judged again from the bag the depot puts together.

They were made when it came; which they are is in ``pipelines.intake.bag``. A name in one may be known only since, or be
the code of a runner who has withdrawn since, or have been noted when more was shown: it is not told then.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import product

from pipelines.consent.redaction import ScopesOf
from pipelines.identity import file_names
from pipelines.identity.guard import KEPT_BACK
from pipelines.identity.identifiers import surely_in_path
from pipelines.identity.names import KnownNames
from pipelines.identity.vocabulary import Vocabulary
from schemas.privacy import EVERY_SCOPE
from schemas.received import Problem

_QUOTED = re.compile(r"'(.*)'", re.DOTALL)
_EDGE = re.compile(r"(?<![0-9A-Za-z])|(?![0-9A-Za-z])")


def told_again(
    notes: Iterable[Problem], withdrawn: ScopesOf, known: KnownNames, plain: Vocabulary
) -> Iterator[Problem]:
    """The notes as they may be told today. withdrawn: what a runner has withdrawn, by id."""
    for note in notes:
        quote = _QUOTED.search(note.seen)
        if quote is not None:
            name = quote[1]
            gone = any(EVERY_SCOPE in withdrawn(part) for part in _wholes(name))
            if gone or surely_in_path(name, known):
                note = replace(note, seen=note.seen.replace(quote[0], KEPT_BACK))
            elif not file_names.fits(name, plain):
                note = replace(note, seen=note.seen.replace(quote[0], file_names.told_of(name)))
        yield note


def _wholes(text: str) -> set[str]:
    """Every part of a text that stands in it as a whole, as a code of several words may."""
    edges = [found.start() for found in _EDGE.finditer(text)]
    return {text[a:b] for a, b in product(edges, edges) if a < b}
