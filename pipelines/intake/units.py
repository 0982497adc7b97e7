"""Units as the files of laboratories spell them: of length, of force, and of moments. What is not here is not known."""

from __future__ import annotations

from collections.abc import Sequence

#: metres for one unit of length, by the first letters of what files call it
_METRES = {
    "mm": 1e-3,
    "millimetre": 1e-3,
    "millimeter": 1e-3,
    "cm": 1e-2,
    "centimetre": 1e-2,
    "centimeter": 1e-2,
    "dm": 1e-1,
    "m": 1.0,
    "metre": 1.0,
    "meter": 1.0,
    "metr": 1.0,
    "mete": 1.0,
    "in": 0.0254,
    "inch": 0.0254,
    "ft": 0.3048,
}
#: newtons for one unit of force; the pound of 0.45359237 kg and the kilogram at the standard gravity of 9.80665 m/s2
_NEWTONS = {
    **dict.fromkeys(("n", "nt", "newton", "newtons"), 1.0),
    **dict.fromkeys(("kn", "kilonewton", "kilonewtons"), 1000.0),
    **dict.fromkeys(("lbf", "lb", "lbs"), 4.4482216152605),
    **dict.fromkeys(("kgf", "kp"), 9.80665),
    **dict.fromkeys(("", "v", "mv", "uv", "volt", "volts"), 1.0),  # silent, or scaled to newtons by C3D's own rule
}


def metres_per_unit(unit: str) -> float | None:
    """Metres in one of the file's units of length; None for a word that is no known unit.

    Some writers cut the word to four characters ("mete"); plurals and capitals do not matter.
    """
    word = unit.strip().lower().rstrip(".")
    for form in (word, word.rstrip("s"), word.removesuffix("es")):
        if form in _METRES:
            return _METRES[form]
    return None


def newtons(unit: str) -> float | None:
    """Newtons in one unit of force; None for a word that is no known unit.

    Channels called volts are scaled to newtons by C3D's own rule.
    """
    return _NEWTONS.get(unit.strip().lower().rstrip("."))


def stated(units: Sequence[str]) -> str:
    """The first unit that is one among those of like channels; "" if all are silent."""
    return next((unit for unit in units if unit.strip()), "")


def moment_metre(unit: str, metre: float) -> float:
    """Metres in the unit of length of a moment such as Nmm, N.m or ntmm; positions' own where it names none."""
    word = unit.strip().lower().replace(".", "").replace("*", "").replace("-", "").replace(" ", "").replace("·", "")
    for force_word in ("newton", "nt", "n", "lbf", "lb"):
        if word.startswith(force_word):
            return metres_per_unit(word.removeprefix(force_word).lstrip("s")) or metre
    return metre
