"""Which texts are units: the part of UCUM that definitions, limits and deliveries of this project need.

Atoms and prefixes are from ucum-essence.xml 2.2 (2024-06-17). What a unit reads like for people is in
``schemas.convert.words``.
"""

from __future__ import annotations

import re

_PREFIXES = ("k", "h", "d", "c", "m", "u", "n", "M", "G")
_METRIC = frozenset(
    {"m", "g", "s", "V", "N", "J", "W", "Hz", "L", "l", "Pa", "rad", "cal", "m[Hg]", "Ohm", "By", "Cel", "[g]", "B"}
)
_OTHER = frozenset({"deg", "%", "wk", "d", "h", "min", "a", "[ppm]"})
_COMPONENT = re.compile(r"([0-9]+|[A-Za-z%\[\]]*)([0-9]?)(\{[^{}]*\})?")


def is_ucum(code: str) -> bool:
    """Whether ``code`` is a UCUM expression of the atoms above. No exponent but a trailing digit is known."""
    if not code.isascii() or " " in code:
        return False
    try:
        return _term(code) == ""
    except ValueError:
        return False


def refusal_of_unit(code: str) -> str | None:
    """Why ``code`` cannot be the unit of anything here, as a clause; None if it can.

    UCUM reads J/kg.m from left to right, as J.m/kg: a trap, so that after a stroke brackets must stand.
    """
    if not is_ucum(code):
        return f"{code!r} is no UCUM unit ('1' if it has none)"
    without_brackets = re.sub(r"\([^()]*\)", "", code)
    if "." in without_brackets.partition("/")[2]:
        return f"{code!r} multiplies after dividing; write brackets, as in J/(kg.m)"
    return None


def _term(text: str) -> str:
    """What is left of ``text`` after one term. Raises ValueError if it begins with none."""
    text = _component(text.removeprefix("/"))
    while text[:1] in (".", "/"):
        text = _component(text[1:])
    return text


def _component(text: str) -> str:
    if text.startswith("("):
        text = _term(text[1:])
        if not text.startswith(")"):
            raise ValueError
        return text[1:]
    match = _COMPONENT.match(text)
    assert match is not None  # every part of it may be empty
    unit, _, annotation = match.groups()
    if not unit and not annotation:
        raise ValueError
    is_whole = not unit or unit.isdigit() or unit in _METRIC | _OTHER
    if not is_whole and (unit[0] not in _PREFIXES or unit[1:] not in _METRIC):
        raise ValueError
    return text[match.end() :]
