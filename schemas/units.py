"""Which texts are units: the part of UCUM that definitions, limits and deliveries of this project need.

Atoms and prefixes are from ucum-essence.xml 2.2 (2024-06-17). What a unit reads like for people is in
``schemas.convert.words``.
"""

from __future__ import annotations

import re

#: The unit of a column of which each row tells its own.
OF_ROW = "{unit_of_row}"

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


#: Units of what grows with body mass, also of oxygen taken up; not the volt, whose kilograms are nobody's.
_OF_MASS = frozenset({"g", "N", "J", "W", "Pa", "cal", "L", "l"})


def grows_with_mass(code: str) -> bool:
    """Whether a value of this unit grows with the mass of who is measured, as N and kN/m do, N.m/kg and {BW} do not."""
    power, outer, sign = 0, [1], 1
    for token in re.findall(r"[()./]|[^()./]+", code):
        if token in "./":
            sign = 1 if token == "." else -1
        elif token == "(":
            outer.append(outer[-1] * sign)
            sign = 1
        elif token == ")":
            outer.pop()
        else:
            unit, exponent, _ = _COMPONENT.match(token).groups()  # type: ignore[union-attr]
            of_mass = unit in _OF_MASS or (unit[:1] in _PREFIXES and unit[1:] in _OF_MASS)
            power += outer[-1] * sign * int(exponent or 1) * of_mass
            sign = 1
    return power != 0


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
