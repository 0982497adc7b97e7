"""What groups and parameters of C3D files are called: names that tell of nobody.

They are made of the words in ``words/c3d_names.txt`` and of words of the trade. A name that is not is a text like any
other: it is searched, and held until somebody has looked at it.
"""

from __future__ import annotations

import re
from functools import cache

from pipelines.identity.common_words import words

_LEAST = 3  # letters of a word within others
_SIDES = "lr"
_JOINTS = re.compile(r"[\s_.:-]+")
_RUN = re.compile(r"[a-z]+|[0-9]+")
_MOST = 64
#: Words of the trade that join others to names of people.
_NOT_JOINED = frozenset(["and", "man", "son", "the", "her", "his", "all", "its", "ill", "ley", "ton"])


@cache
def is_known(name: str) -> bool:
    """Whether a group or parameter may be called so: known words, joined by signs or not, sides and numbers."""
    lowered = name.strip().lower()
    if len(lowered) > _MOST or not lowered.isascii():
        return False
    parts = [part for part in _JOINTS.split(lowered) if part]
    return bool(parts) and all(_is_made_of_words(part, alone=len(parts) == 1) for part in parts)


def _is_made_of_words(part: str, *, alone: bool) -> bool:
    runs = _RUN.findall(part)
    return "".join(runs) == part and all(
        run.isdigit() or _joined(run) or (len(run) <= 2 and (not alone or len(runs) > 1)) for run in runs
    )


def _joined(run: str) -> bool:
    """Whether letters are words one after the other, the first perhaps with a side before it."""
    if run in _words():
        return True
    reached = {0, 1} if run[0] in _SIDES else {0}
    for end in range(_LEAST, len(run) + 1):
        if any(run[at:end] in _parts() for at in reached if end - at >= _LEAST):
            reached.add(end)
    return len(run) in reached


@cache
def _words() -> frozenset[str]:
    return words("c3d_names") | ((words("other_words") | words("label_words")) - words("names_too"))


@cache
def _parts() -> frozenset[str]:
    return _words() - _NOT_JOINED
