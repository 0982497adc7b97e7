"""Reasons that people give for decisions stand in the ledger for good: one that tells of somebody is refused."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import pairwise

from pipelines.errors import Unusable
from pipelines.identity import kinds
from pipelines.identity.identifiers import kinds_in, surely
from pipelines.identity.names import KnownNames
from schemas.near_ids import skeleton

#: Tell nothing of who somebody is; a letter has a day.
_MAY_STAND = frozenset({kinds.DATE, kinds.TIME})


def refuse_who(why: str, runners: Iterable[str], known: KnownNames) -> None:
    """Raises Unusable if ``why`` names one of the ``runners`` by a code, however written, or surely a person."""
    codes = {skeleton(one) for one in runners}
    words = [word for word in re.split(r"[\s,;:.()/\"']+", why) if word]
    named = any(skeleton(part) in codes - {""} for part in (*words, *map("".join, pairwise(words))))
    found = (
        () if named else tuple(kind for kind in kinds_in(surely(why, "description", known)) if kind not in _MAY_STAND)
    )
    if named or found:
        what = "names a runner" if named else f"may identify a person ({', '.join(found)})"
        raise Unusable(
            f"The reason {what}, and the ledger can never forget.",
            "a reason without identity.",
            "Word it differently with --why.",
        )
