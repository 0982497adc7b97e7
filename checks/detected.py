"""How well each check was measured to find its fault, and how often it spoke on clean data: kept beside the checks.

``python -m benchmarks.detection --full --write`` measures and writes the results. Nothing is measured here.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).with_name("detection.json")


@dataclass(frozen=True)
class Detected:
    """One fault of the size from which on it spoils an outcome, and in how many trials it was found.

    what: a sentence with ``{size}`` in it; size: the number in ``unit`` (UCUM).
    """

    what: str
    size: float
    unit: str
    found: int
    trials: int


@dataclass(frozen=True)
class Measured:
    """What was measured of one check. false, clean: findings on clean data, and how many of these it looked at."""

    faults: tuple[Detected, ...]
    false: int
    clean: int


def measured(name: str) -> Measured:
    """What was measured of a check; of one that was not, no faults and no clean data."""
    kept = _kept()
    rows = (row for row in kept["plants"] if row["check"] == name)
    clean = kept["clean"]
    return Measured(tuple(map(_detected, rows)), clean["found"].get(name, 0), clean["looked"].get(name, 0))


def _detected(row: dict[str, Any]) -> Detected:
    at = next(one for one in row["sizes"] if one["size"] == row["matters"])
    return Detected(row["what"], row["matters"], row["unit"], at["found"], at["trials"])


@cache
def _kept() -> dict[str, Any]:
    return dict(json.loads(RESULTS.read_text(encoding="utf-8")))
