"""``python -m benchmarks.detection.causes [--full] [--write]``: whether the cause that is named is the planted one.

Every fault of a trial that there is a plant for, alone, in the size that matters; the trial goes the way of a delivery
through every check, and its findings are judged (``checks.causes``). Then faults of a whole recording, whatever check
they are there for. Kept and shown as docs/reference/causes.md.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

from benchmarks.detection.plants import Plant, plants
from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import everything_seen_in
from benchmarks.detection.whole_recordings import FAULTS
from checks.causes import causes_first, with_causes

FULL, QUICK = 8, 2
FULL_WHOLE, QUICK_WHOLE = 2, 1
AIM = 0.95
#: Plants whose fault is another check's as well, so that either names it. A C3D file holds a whole number of force
#: samples a frame, and so both rates are wrong by the same factor; bytes put into a file are seen in its size, too.
RIGHT_AS_WELL = {
    "force_rate_is_the_sites": {"marker_rate_is_the_sites"},
    "samples_stand_in_their_places": {"file_agrees_with_itself"},
}


@dataclass(frozen=True)
class Told:
    """What was said of one trial. findings: all; causes: those with something to do; checks: of causes, in order."""

    findings: int
    causes: int
    checks: tuple[str, ...]
    found: bool  # by the check that the fault is there for


def told_of(plant: Plant, number: int) -> Told:
    """What all checks say of one trial with the plant's fault, judged."""
    case = plant.case(number)
    assert plant.plant is not None
    return _told(plant.plant(specimen(case), plant.matters, case.chance(plant.key)), plant.check_name)


def _told(own: Any, check_name: str | None = None) -> Told:
    findings = with_causes(everything_seen_in(own).findings)
    causes = causes_first(findings)
    checks = tuple(dict.fromkeys(f.check_name for f in causes))
    return Told(len(findings), len(causes), checks, check_name in {f.check_name for f in findings})


def _plant_row(key: str, count: int) -> dict[str, Any]:
    plant = plants()[key]
    count = max(2, round(count * plant.share_of_trials))
    told = [one for n in range(count) if (one := told_of(plant, n)).found]
    right = {plant.check_name} | RIGHT_AS_WELL.get(plant.check_name, set())
    others: dict[str, int] = {}
    for one in told:
        for name in one.checks if set(one.checks[:1]) - right else one.checks[1:]:
            others[name] = others.get(name, 0) + (name not in right)
    return {
        "fault": key,
        "check": plant.check_name,
        "trials": count,
        "found": len(told),
        "named": sum(bool(set(one.checks[:1]) & right) for one in told),
        "strictly": sum(one.checks[:1] == (plant.check_name,) for one in told),
        "alone": sum(set(one.checks) <= right for one in told),
        "findings": sum(one.findings for one in told),
        "causes": sum(one.causes for one in told),
        "others": {name: times for name, times in sorted(others.items()) if times},
    }


def _whole_row(name: str, count: int) -> dict[str, Any]:
    fault = FAULTS[name]
    told = []
    for number in range(count):
        for site in fault.sites:
            case = Case(number, site, muscles=True, second=True)
            told.append(_told(fault.plant(specimen(case))))
    seen = [one for one in told if one.findings]
    first: dict[str, int] = {}
    for one in seen:
        first[one.checks[0]] = first.get(one.checks[0], 0) + 1
    return {
        "fault": name,
        "right": list(fault.named_by),
        "trials": len(told),
        "found": len(seen),
        "named": sum(one.checks[0] in fault.named_by for one in seen),
        "findings": sum(one.findings for one in seen),
        "causes": sum(one.causes for one in seen),
        "first": dict(sorted(first.items())),
    }


def measure(count: int, whole: int) -> dict[str, Any]:
    """Every plant of a trial and every fault of a whole recording: rows of counts."""
    keys = [key for key, plant in plants().items() if plant.plant is not None]
    with ProcessPoolExecutor(min(2, os.cpu_count() or 1), mp_context=get_context("spawn")) as pool:
        rows = list(pool.map(_plant_row, keys, [count] * len(keys)))
        wholes = list(pool.map(_whole_row, FAULTS, [whole] * len(FAULTS)))
    return {"plants": rows, "whole": wholes}


def main() -> int:
    """Print, and with --write keep; ends with 1 where the aim is missed."""
    from benchmarks.detection.causes_page import PAGE, write

    parser = argparse.ArgumentParser(prog="python -m benchmarks.detection.causes", description=__doc__)
    parser.add_argument("--full", action="store_true", help=f"{FULL} trials for each fault instead of {QUICK}")
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name} and the counts beside it")
    given = parser.parse_args()
    result = measure(*((FULL, FULL_WHOLE) if given.full else (QUICK, QUICK_WHOLE)))
    for row in (*result["plants"], *result["whole"]):
        if row["named"] < row["found"] or row["found"] < row["trials"]:
            print(json.dumps({k: v for k, v in row.items() if k != "right"}))
    named, found = (sum(row[what] for row in result["plants"]) for what in ("named", "found"))
    print(f"single faults: {named} of {found} named; of whole recordings ", end="")
    print(f"{sum(r['named'] for r in result['whole'])} of {sum(r['found'] for r in result['whole'])}")
    if given.write:
        write(result)
    return int(named < AIM * found)


if __name__ == "__main__":
    sys.exit(main())
