"""Units of columns and limits against UCUM (ucum-essence.xml 2.2 of 2024-06-17).

Atoms and codes are typed in from there; one test also reads ../shared/reference/ucum_units.csv, which was made from
the same file, and is skipped where that folder is absent.
"""

import csv
import re
from pathlib import Path

import pytest

from checks.registry import catalogue
from schemas.catalogue import TABLES
from schemas.model import SUFFIX_UNITS

SHARED = Path(__file__).parents[2].parent / "shared"

PREFIXES = ("k", "h", "d", "c", "m", "u", "n", "M", "G")
METRIC = {"m", "g", "s", "V", "N", "J", "W", "Hz", "L", "l", "Pa", "rad", "cal", "m[Hg]", "Ohm", "By", "Cel", "[g]"}
OTHER = {"deg", "%", "wk", "d", "h", "min", "a", "[ppm]"}
#: bel is a metric atom; decibel is written with the prefix d
METRIC |= {"B"}


def is_ucum(code: str) -> bool:
    """Whether ``code`` is a UCUM expression of the atoms above. No exponent but a trailing digit is known."""
    if not code.isascii() or " " in code:
        return False
    try:
        rest = _term(code)
    except ValueError:
        return False
    return rest == ""


def _term(text: str) -> str:
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
    match = re.match(r"([0-9]+|[A-Za-z%\[\]]*)([0-9]?)(\{[^{}]*\})?", text)
    assert match
    unit, _, annotation = match.groups()
    if not unit and not annotation:
        raise ValueError
    is_whole = not unit or unit.isdigit() or unit in METRIC | OTHER
    if not is_whole and (unit[0] not in PREFIXES or unit[1:] not in METRIC):
        raise ValueError
    return text[match.end() :]


KNOWN_GOOD = ["N", "N.m", "N.m/kg", "N/s", "{BW}/s", "{BW}", "[g]", "mm", "m/s", "deg", "uV", "Hz", "mL/min"]
KNOWN_GOOD += ["mL/(kg.min)", "W/kg", "J/(kg.m)", "kN/m", "{step}/min", "/min", "a", "wk", "%", "1", "mm[Hg]", "m/s2"]
KNOWN_BAD = ["Nm", "N·m", "N m", "µV", "°", "degrees", "mdeg", "sec", "hr", "km/hr", "bpm", "BW", "BW/s", "mmHg"]
KNOWN_BAD += ["ohm", "J/(kg.m", ""]


@pytest.mark.parametrize("code", KNOWN_GOOD)
def test_the_reading_of_units_here_takes_what_ucum_takes(code):
    assert is_ucum(code)


@pytest.mark.parametrize("code", KNOWN_BAD)
def test_the_reading_of_units_here_refuses_what_ucum_refuses(code):
    assert not is_ucum(code)


@pytest.mark.skipif(
    not SHARED.is_dir(), reason="../shared is not here; the codes typed in above are tried all the same"
)
def test_the_reading_of_units_here_agrees_with_the_shared_list():
    with (SHARED / "reference" / "ucum_units.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    assert len(rows) > 50
    wrong = [row["code"] for row in rows if is_ucum(row["code"]) != row["status"].startswith("OK")]
    assert not wrong


UNITS = {(table.name, field.name): field.unit for table in TABLES.values() for field in table.fields if field.unit}


@pytest.mark.parametrize(("table", "column"), UNITS)
def test_the_unit_of_every_column_is_a_ucum_code(table, column):
    assert is_ucum(UNITS[table, column])


@pytest.mark.parametrize("suffix", SUFFIX_UNITS)
def test_every_name_ending_stands_for_a_ucum_code(suffix):
    assert is_ucum(SUFFIX_UNITS[suffix])


LIMITS = {(spec.name, name): limit.unit for spec in catalogue().values() for name, limit in spec.limits.items()}


@pytest.mark.parametrize(("check", "limit"), LIMITS)
def test_the_unit_of_every_limit_is_a_ucum_code(check, limit):
    assert is_ucum(LIMITS[check, limit])


@pytest.mark.parametrize("unit", sorted(set(UNITS.values()) | set(SUFFIX_UNITS.values()) | set(LIMITS.values())))
def test_no_unit_multiplies_after_dividing(unit):
    """UCUM reads J/kg.m from left to right, as J.m/kg: a trap unless brackets stand there."""
    without_brackets = re.sub(r"\([^()]*\)", "", unit)
    assert "." not in without_brackets.partition("/")[2]
