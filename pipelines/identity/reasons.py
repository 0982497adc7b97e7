"""Reasons that people give for decisions stand in the ledger for good: one that tells of somebody is refused."""

from __future__ import annotations

import re
from collections.abc import Iterable

from pipelines.errors import Unusable
from pipelines.identity import kinds
from pipelines.identity.identifiers import kinds_in, surely
from pipelines.identity.names import KnownNames
from schemas.near_ids import skeleton

#: Tell nothing of who somebody is; a letter has a day.
_MAY_STAND = frozenset({kinds.DATE, kinds.TIME})
_PIECES = re.compile(r"[^\W_]+")
#: A code of one piece may be written in two: "FS 01" for FS01.
_LEAST_JOINED = 2


def refuse_who(why: str, codes: Iterable[str], known: KnownNames) -> None:
    """Raises Unusable if ``why`` names one of the ``codes``, however written, or surely a person.

    codes: of runners and trials.
    """
    named = _names_one(why, codes)
    found = (
        () if named else tuple(kind for kind in kinds_in(surely(why, "description", known)) if kind not in _MAY_STAND)
    )
    if named or found:
        what = "names a runner or a trial" if named else f"may identify a person ({', '.join(found)})"
        raise Unusable(
            f"The reason {what}, and the ledger can never forget.",
            "a reason without identity.",
            "Word it differently with --why.",
        )


def refuse_runner_as_name(name: str, codes: Iterable[str]) -> None:
    """Raises Unusable if the name of who decides is one of the ``codes``, however written, or more than one line."""
    if _names_one(name, codes) or not name.isprintable():
        raise Unusable(
            "The name of who does this names a runner, or is no line of text; the ledger can never forget.",
            "the name of a person who works here.",
            "Give your own name with --as.",
        )


def _names_one(why: str, codes: Iterable[str]) -> bool:
    """Whether letters and numbers that follow each other make a code, whatever stands between them."""
    wanted: dict[str, int] = {}  # each with how many pieces it has
    for code in codes:
        if alike := skeleton(code):
            wanted[alike] = max(wanted.get(alike, 0), len(_PIECES.findall(code)))
    said = [skeleton(piece) for piece in _PIECES.findall(why)]
    longest = max(_LEAST_JOINED, *wanted.values()) if wanted else 0
    for at in range(len(said)):
        joined = ""
        for piece in said[at : at + longest]:
            joined += piece
            if joined in wanted:
                return True
    return False
