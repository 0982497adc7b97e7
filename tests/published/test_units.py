"""Our reading of units against UCUM (ucum-essence.xml 2.2 of 2024-06-17). Columns and limits of checks go through it.

Codes are typed in from there; one test also reads ../shared/reference/ucum_units.csv, which was made from
the same file, and is skipped where that folder is absent.
"""

import csv
from pathlib import Path

import pytest

from schemas.model import SUFFIX_UNITS, DefinitionError, Field, Kind
from schemas.units import is_ucum, refusal_of_unit

SHARED = Path(__file__).parents[2].parent / "shared"

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


@pytest.mark.skipif(
    not SHARED.is_dir(), reason="../shared is not here; the codes typed in above are tried all the same"
)
def test_the_reading_of_units_here_agrees_with_the_shared_list() -> None:
    with (SHARED / "reference" / "ucum_units.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    assert len(rows) > 50
    wrong = [row["code"] for row in rows if is_ucum(row["code"]) != row["status"].startswith("OK")]
    assert not wrong


@pytest.mark.parametrize(("code", "why"), [("N·m", "no UCUM unit"), ("BW", "no UCUM unit"), ("J/kg.m", "brackets")])
def test_no_column_can_have_another_unit(code: str, why: str) -> None:
    with pytest.raises(DefinitionError, match=why):
        Field("cost_count", Kind.INTEGER, "Invented.", unit=code)


def test_every_name_ending_stands_for_a_ucum_code() -> None:
    assert [code for code in SUFFIX_UNITS.values() if refusal_of_unit(code) is not None] == []
