"""Our reading of units against UCUM (ucum-essence.xml 2.2 of 2024-06-17). Columns and limits of checks go through it.

Codes are typed in from there; ``values`` holds more of them.
"""

import pytest

from schemas.model import SUFFIX_UNITS, DefinitionError, Field, Kind
from schemas.units import is_ucum, refusal_of_unit
from tests.published.values import rows

KNOWN_GOOD = ["N", "N.m", "N.m/kg", "N/s", "{BW}/s", "{BW}", "[g]", "mm", "m/s", "deg", "uV", "Hz", "mL/min"]
KNOWN_GOOD += ["mL/(kg.min)", "W/kg", "J/(kg.m)", "kN/m", "{step}/min", "/min", "a", "wk", "%", "1", "mm[Hg]", "m/s2"]
KNOWN_BAD = ["Nm", "N·m", "N m", "µV", "°", "degrees", "mdeg", "sec", "hr", "km/hr", "bpm", "BW", "BW/s", "mmHg"]
KNOWN_BAD += ["ohm", "J/(kg.m", ""]


@pytest.mark.parametrize("code", KNOWN_GOOD)
def test_the_reading_of_units_here_takes_what_ucum_takes(code: str) -> None:
    assert is_ucum(code)


@pytest.mark.parametrize("code", KNOWN_BAD)
def test_the_reading_of_units_here_refuses_what_ucum_refuses(code: str) -> None:
    assert not is_ucum(code)


def test_the_reading_of_units_here_agrees_with_the_list_made_from_ucum() -> None:
    listed = rows("ucum_units")
    assert len(listed) > 50
    wrong = [row["code"] for row in listed if is_ucum(row["code"]) != row["status"].startswith("OK")]
    assert not wrong


@pytest.mark.parametrize(("code", "why"), [("N·m", "no UCUM unit"), ("BW", "no UCUM unit"), ("J/kg.m", "brackets")])
def test_no_column_can_have_another_unit(code: str, why: str) -> None:
    with pytest.raises(DefinitionError, match=why):
        Field("cost_count", Kind.INTEGER, "Invented.", unit=code)


def test_every_name_ending_stands_for_a_ucum_code() -> None:
    assert [code for code in SUFFIX_UNITS.values() if refusal_of_unit(code) is not None] == []
