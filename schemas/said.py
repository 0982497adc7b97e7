"""Words of a sender inside a sentence of ours, marked so that nobody takes the one for the other.

A name of a file, a column or a cell that a message repeats stands between two signs that no text may hold, until it was
decided who may see it: ``pipelines.identity.guard`` lets through what is made of known words, and whoever shows the
rest says how. What nobody decided is not shown.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from schemas.received import Problem

#: Noncharacters of Unicode, which are meant for the inside of a program.
_OPEN, _CLOSE = "\ufdd0", "\ufdd1"
_SAID = re.compile(f"{_OPEN}([^{_CLOSE}]*)(?:{_CLOSE}|$)", re.DOTALL)
#: What no message holds: control characters, halves of characters, and the two signs themselves.
_BROKEN = re.compile(f"[\x00-\x1f\x7f-\x9f\ud800-\udfff{_OPEN}{_CLOSE}]")
#: Longer ones are cut, as no message repeats them; longer than any text that is made of known words.
_LONGEST, _LONGEST_SHOWN = 240, 120
NOT_SHOWN = "(not shown)"


def said(text: str) -> str:
    """``text`` as a part of a sentence that is not ours."""
    return f"{_OPEN}{_BROKEN.sub('?', text[:_LONGEST])}{_CLOSE}"


def quoted(text: str) -> str:
    """A sender's text as a message shows it."""
    return f"'{as_name(text)}'"


def as_name(text: str) -> str:
    """As ``quoted``, where it stands by itself."""
    printable = "".join(c if c.isprintable() else "?" for c in text[:_LONGEST_SHOWN])
    return f"{printable}{'...' if len(text) > _LONGEST_SHOWN else ''}"


def told(problem: Problem, show: Callable[[str], str | None], ours: Callable[[str], str] = str) -> Problem:
    """The problem with every word of a sender as ``show`` gives it; None: it stays marked, for another to decide.

    show: the whole that is shown, with quotes if it has any; where a name stands by itself, outer quotes are taken off.
    ours: what becomes of our own words around them.
    """

    def sentence(text: str) -> str:
        made, at = "", 0
        for found in _SAID.finditer(text):
            shown = show(found[1])
            made += ours(text[at : found.start()]) + (said(found[1]) if shown is None else shown)
            at = found.end()
        return made + ours(text[at:])

    def alone(text: str | None) -> str | None:
        made = sentence(text) if text else text
        return made[1:-1] if made and len(made) > 1 and made[0] == made[-1] == "'" else made

    return replace(
        problem,
        seen=sentence(problem.seen),
        expected=sentence(problem.expected),
        file=alone(problem.file),
        place=alone(problem.place),
    )


def not_shown(problem: Problem) -> Problem:
    """The problem without any word of a sender that nobody has let through."""
    return told(problem, lambda text: NOT_SHOWN)
