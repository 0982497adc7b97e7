"""Which versions of the consent form are understood: one rule for consents.csv and for consent that is given anew."""

from __future__ import annotations

import re
from collections.abc import Collection

#: A plain version, as people write one: 2, v3, 2.1, 2025-03, 4a.
_PLAIN = re.compile(r"(?i)v?[0-9]{1,4}(?:[._-][0-9]{1,4}){0,3}[a-z]?")


def is_plain_version(version: str) -> bool:
    """Whether a text is a version and says nothing else."""
    return _PLAIN.fullmatch(version.strip()) is not None


def is_understood(version: str, forms: Collection[str]) -> bool:
    """Whether somebody may have signed this version. forms: those the study names; of one without, any plain version."""
    return version.strip() in forms if forms else is_plain_version(version)


def expected_version(forms: Collection[str]) -> str:
    """What a cell with a version holds, as a clause for people."""
    return f"one of the study's consent_forms: {', '.join(forms)}" if forms else "a version such as 2 or 2.1"
