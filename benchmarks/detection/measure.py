"""Plants every fault in many clean trials and counts; looks at clean trials and counts what should not be there.

A result is plain values, so that it can be kept beside the page and held against it without measuring again.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

import numpy as np

from benchmarks.detection import real, real_long
from benchmarks.detection.plants import Plant, plants
from benchmarks.detection.plants_site import pooled
from benchmarks.detection.sending import clean
from benchmarks.detection.specimens import SITES, Case, Specimen, specimen
from benchmarks.detection.way import everything_seen_in, seen_in
from checks.findings import Report
from checks.registry import catalogue

Result = dict[str, Any]
#: Trials for each size of a plant; and running trials, standing trials and deliveries for each laboratory.
FULL, QUICK = 60, 12
CLEAN_FULL, CLEAN_QUICK = (70, 20, 10), (4, 2, 1)
LOOKED = ("pass", "found")


def interval(found: int, trials: int) -> tuple[float, float]:
    """Clopper and Pearson's 95 % interval of a share."""
    from scipy.stats import binomtest

    low, high = binomtest(found, trials).proportion_ci(0.95, method="exact")
    return float(low), float(high)


def measure_plant(plant: Plant, trials: int) -> Result:
    """How often the plant's check found it, for each size, and whether in the real run."""
    count = max(4, round(trials * plant.share_of_trials))  # half as many where only the trend is of interest
    sizes = [
        {"size": s, **_counted(plant, s, count if s == plant.matters else max(2, count // 2))} for s in plant.sizes
    ]
    return {
        "check": plant.check_name,
        "what": plant.what,
        "unit": plant.unit,
        "matters": plant.matters,
        "why": plant.why,
        "sites": list(plant.sites),
        "sizes": sizes,
        "real": in_real_runs(plant),
    }


def _counted(plant: Plant, size: float, count: int) -> dict[str, int]:
    statuses = Counter(_status(report_of(plant, plant.case(number), size)) for number in range(count))
    return {"trials": count, "found": statuses["found"], "crashed": statuses["crashed"]}


def report_of(plant: Plant, case: Case, size: float) -> Report:
    """What the plant's check says of one case with the fault in this size."""
    chance = case.chance(plant.key)
    if plant.send is not None:
        return plant.send(case, size, chance).report(plant.check_name)
    assert plant.plant is not None
    return seen_in(plant.plant(specimen(case), size, chance), plant.check_name)


def in_real_runs(plant: Plant) -> Result | None:
    """Real recording -> for each size whether it was found there; None of one in which it cannot be planted."""
    runs = ({"one step": real.to_plant_in()} if real.there() else {}) | real_long.recorded()
    if not plant.real or not runs:
        return None
    return {
        name: [{"size": size, "found": _found_in(plant, own, size)} for size in plant.sizes]
        for name, own in runs.items()
    }


def _found_in(plant: Plant, own: Specimen, size: float) -> bool | None:
    assert plant.plant is not None
    try:
        planted = plant.plant(own, size, np.random.default_rng(1))
    except (LookupError, ValueError):  # it has no such plate, marker or second contact
        return None
    return _status(seen_in(planted, plant.check_name)) == "found"


def _status(report: Report) -> str:
    (run,) = report.runs
    return str(run.status)


def clean_cases(amounts: Sequence[int]) -> list[tuple[str, Case]]:
    """What is looked at for false alarms: running, standing and contraction trials, deliveries, whole laboratories."""
    running, standing, deliveries = amounts
    cases = []
    for site in SITES:
        cases += [("trial", Case(n, site, muscles=True, second=True)) for n in range(running)]
        cases += [("trial", Case(n, site, "standing")) for n in range(standing)]
        cases += [("delivery", Case(n, site)) for n in range(deliveries)]
        cases += [("site", Case(n, site)) for n in range(deliveries)]
    return cases + [("trial", Case(n, "brack", "reference_contraction", muscles=True)) for n in range(deliveries)]


def look_at_clean(what: tuple[str, Case]) -> Result:
    """Which checks looked at one clean trial or delivery, and what they found."""
    kind, case = what
    if kind == "trial":
        return _summary(case.trial_id, case.kind, everything_seen_in(specimen(case)))
    report = clean(case).everything() if kind == "delivery" else pooled(case).everything()
    return _summary(f"{case.site} {case.number}, {kind}", kind, report)


def look_at_real() -> list[Result]:
    """The same of the real runs as they were found, of one in every encoding, and of its standing trial."""
    step = real.as_found() if real.there() else ()
    found = [_summary(name, "real", everything_seen_in(own, content)) for name, own, content in step]
    return found + [_summary(name, "real", everything_seen_in(own)) for name, own in real_long.recorded().items()]


def _summary(name: str, kind: str, report: Report) -> Result:
    return {
        "name": name,
        "kind": kind,
        "looked": sorted(run.check_name for run in report.runs if run.status in LOOKED),
        "crashed": sorted(run.check_name for run in report.runs if run.status == "crashed"),
        "findings": [[f.check_name, f.weight, f.seen] for f in report.findings],
    }


def measure(
    trials: int, amounts: Sequence[int], only: Iterable[str], tell: Callable[[str], None], *, clean: bool = False
) -> Result:
    """Everything, or only the plants of the named checks (then without the clean trials, unless they are asked for)."""
    wanted = set(only)
    chosen = [p for p in plants().values() if not wanted or p.check_name in wanted]
    result: Result = {"trials": trials, "plants": [], "clean": {}, "real_clean": {}}
    with _pool() as pool:
        done = pool.map(_measure_by_key, [p.key for p in chosen], [trials] * len(chosen))
        for plant, row in zip(chosen, done, strict=True):
            tell(line_of(row))
            result["plants"].append(row)
            assert row["check"] == plant.check_name
        if clean or not wanted:
            result["clean"] = gathered(pool.map(look_at_clean, clean_cases(amounts), chunksize=8))
            result["real_clean"] = gathered(look_at_real())
    return result


def measured_in_real(old: Result, tell: Callable[[str], None]) -> Result:
    """Kept results with what concerns the real recordings measured anew."""
    by_key = {f"{row['check']}: {row['what']}": row for row in old["plants"]}
    keys = [key for key, plant in plants().items() if plant.real and key in by_key]
    with _pool() as pool:
        for key, found in zip(keys, pool.map(_real_by_key, keys), strict=True):
            by_key[key]["real"] = found
            tell(f"{key}: {found}")
    return {**old, "real_clean": gathered(look_at_real())}


def _real_by_key(key: str) -> Result | None:
    return in_real_runs(plants()[key])


def _pool() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(min(4, os.cpu_count() or 1), mp_context=get_context("spawn"))


def _measure_by_key(key: str, trials: int) -> Result:
    return measure_plant(plants()[key], trials)


def line_of(row: Result) -> str:
    """One plant's result in a line."""
    sizes = ", ".join(f"{s['size']:g}: {s['found']}/{s['trials']}" for s in row["sizes"])
    return f"{row['check']}: {row['what'].replace('{size}', '...')} [{row['unit'] or '-'}] {sizes}"


def gathered(ones: Iterable[Result]) -> Result:
    """Counts of what was looked at and found, by check and by kind of data, and every finding with its place."""
    kinds, looked, found = Counter[str](), Counter[str](), Counter[str]()
    findings: list[list[str]] = []
    crashed: set[str] = set()
    for one in ones:
        kinds[one["kind"]] += 1
        looked.update(one["looked"])
        found.update({name for name, _, _ in one["findings"]})
        crashed.update(one["crashed"])
        findings += [[one["name"], *finding] for finding in one["findings"]]
    counts = {"kinds": kinds, "looked": looked, "found": found}
    plain = {name: dict(sorted(count.items())) for name, count in counts.items()}
    return {**plain, "crashed": sorted(crashed), "findings": findings}


def false_alarms(result: Result) -> dict[str, tuple[int, int]]:
    """Check -> in how many of how many clean simulated trials or deliveries that it looked at it found something."""
    found, looked = (result["clean"].get(name, {}) for name in ("found", "looked"))
    return {name: (found.get(name, 0), looked.get(name, 0)) for name in catalogue()}


def wrong_findings(result: Result) -> Iterator[tuple[str, str, str, str]]:
    """Findings on clean data: where, check, weight, what was seen. Of real runs without what they are known to have."""
    yield from (tuple(one) for one in result["clean"].get("findings", ()))
    for one in result["real_clean"].get("findings", ()):
        if one[1] not in (real_long.KNOWN if one[0] in real_long.NAMES else real.KNOWN):
            yield tuple(one)
