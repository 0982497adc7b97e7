"""Whole sites: whether a laboratory's runners, measures and gaps look like those of the other laboratories.

One site's oddity is rarely proof of a fault, so every finding here is a note. The windows are computed from the other
sites (``site_windows``); Great Expectations carries the expectations out (``expectations``). Drift of equipment over
time is in ``site_drift``, how values were read off and written down in ``site_measures``.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from checks.context import Pool
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from checks.site.expectations import Answer, Expected, carry_out
from checks.site.pool import (
    Cell,
    about,
    body_cells,
    comparable,
    median_of,
    outcome_cells,
    records_force,
    too_few,
    words_of,
)
from pipelines.science.statistics import windows as site_windows
from schemas.study import Study

_LEAST_RUNNERS = Limit("1", "own choice: with fewer the window is wider than any fault that matters")
_LEAST_SITES = Limit("1", "own choice: against one site alone nobody can tell which of the two is odd")
_CHANCE = Limit("1", "own choice: some hundred comparisons per site may then raise one false note in a hundred sites")


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen="The median {what} of {runners} runners is {own:.4g}{unit}; the other sites' lie about {centre:.4g}{unit}, so "
    "it lies {z:.1f} of the other runners' spreads away. It stands out in {off} of {judged} comparisons.",
    expected="The median lies between {low:.4g} and {high:.4g}{unit}: within {robust_z:g} spreads of the other sites, "
    "or within what chance does with so few runners.",
    remedy="Other runners may explain it. If not, compare with the other sites how this outcome comes about: speed and "
    "surface, marker places, the standing trial, plate scale, filters before export. Record one travelling runner at "
    "both sites.",
    words=("what", "runners", "own", "unit", "centre", "z", "off", "judged", "low", "high"),
    limits={
        "robust_z": Limit("1", "3 to 3.5 is common practice for scores from median absolute deviations"),
        "least_runners": _LEAST_RUNNERS,
        "least_sites": _LEAST_SITES,
        "chance": _CHANCE,
    },
)
def outcomes_centre_among_the_other_sites(
    site: str,
    outcomes: Pool,
    *,
    robust_z: float = 3.0,
    least_runners: float = 4,
    least_sites: float = 2,
    chance: float = 0.0001,
) -> Looked:
    """A site's runners have, in the middle, the outcomes of the other sites' runners.

    Runners differ, and a few of them shift a median; a shift of several times the spread between runners is more than
    runners do, and would go into every pooled comparison as if it were the footwear.
    """
    wanted, cells = [], []
    for cell in comparable(outcome_cells(outcomes), site, least_runners, least_sites):
        others = cell.others(site, least_runners)
        if window := site_windows.median_window(len(cell.values[site]), others, robust_z, chance):
            wanted.append(_between("expect_column_median_to_be_between", site, cell, window))
            cells.append((cell, window))
    if not wanted:
        return nothing(too_few(least_runners, least_sites))
    answers = carry_out(outcomes["runner_means"], wanted)
    faults = []
    for (cell, (low, high, spread)), answer in zip(cells, answers, strict=True):
        if not answer.met:
            own, centre = median_of(cell.values[site]), (low + high) / 2
            values = {"own": own, "centre": centre, "z": abs(own - centre) / spread, "low": low, "high": high}
            faults.append({**_named(cell, site), **values, "how_far": values["z"]})
    return looked(len(answers), _one_per_column(faults, answers), answers)


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen="The {what} of {runners} runners has a standard deviation of {own:.3g}{unit}; within the other sites it is "
    "{spread:.3g}{unit}. It stands out in {off} of {judged} comparisons.",
    expected="Between {low:.3g} and {high:.3g}{unit}: within a factor of {ratio:g} of the other sites, or within what "
    "chance does with so few runners.",
    remedy="Too small: look whether values were copied from runner to runner, typed from memory or rounded. Too large: "
    "look for runners recorded with another unit, another speed or exchanged labels.",
    words=("what", "runners", "own", "unit", "spread", "off", "judged", "low", "high"),
    limits={
        "ratio": Limit("1", "own choice: groups of runners of one study rarely differ by more"),
        "least_runners": _LEAST_RUNNERS,
        "least_sites": _LEAST_SITES,
        "chance": _CHANCE,
    },
)
def values_spread_as_at_the_other_sites(
    site: str,
    outcomes: Pool,
    *,
    ratio: float = 3.0,
    least_runners: float = 4,
    least_sites: float = 2,
    chance: float = 0.0001,
) -> Looked:
    """A site's runners differ from one another about as much as the runners of the other sites do.

    Copied or invented values are too much alike, mixed units or mixed protocols too little.
    """
    answers, faults = [], []
    for table, found in (("runner_means", outcome_cells(outcomes)), ("runners", body_cells(outcomes))):
        wanted, cells = [], []
        for cell in comparable(found, site, least_runners, least_sites):
            others = list(cell.others(site, least_runners).values())
            if window := site_windows.spread_window(len(cell.values[site]), others, ratio, chance):
                wanted.append(_between("expect_column_stdev_to_be_between", site, cell, window))
                cells.append((cell, window))
        own = carry_out(outcomes[table], wanted)
        answers += own
        for (cell, (low, high, spread)), answer in zip(cells, own, strict=True):
            if not answer.met:
                values = {"own": answer.observed or 0.0, "spread": spread, "low": low, "high": high}
                how_far = abs(np.log(max(values["own"], 1e-12) / spread))
                faults.append({**_named(cell, site), **values, "how_far": how_far})
    if not answers:
        return nothing(too_few(least_runners, least_sites))
    return looked(len(answers), _one_per_column(faults, answers), answers)


@check(
    about=Subject.SITE,
    weight=Weight.NOTES,
    seen="{missing} of {runners} runners have no {what}; at the other sites {other_missing} of {other_runners} have "
    "none. It stands out in {off} of {judged} comparisons.",
    expected="At most {most} of {runners}: not more than the other sites' share and {share:g} of all runners more.",
    remedy="Look which step leaves it out: a standing trial that is not recorded, a marker that is not placed or often "
    "hidden, a channel that is not exported, a question that is not asked. What can be found later is sent again.",
    words=("missing", "runners", "what", "other_missing", "other_runners", "off", "judged", "most"),
    limits={
        "share": Limit("1", "own choice: a smaller difference does not change what the site contributes"),
        "least_runners": _LEAST_RUNNERS,
        "chance": Limit("1", "own choice: some twenty comparisons per site, and the exact test is cautious"),
    },
)
def values_are_missing_no_more_often_than_elsewhere(
    site: str,
    outcomes: Pool,
    study: Study,
    *,
    share: float = 0.2,
    least_runners: float = 4,
    chance: float = 0.0005,
) -> Looked:
    """A site leaves out no value much more often than the other sites do.

    What is missing at one site only bends the comparison between sites, because it seldom is missing by chance.
    """
    answers, faults = [], []
    for table, found in (
        ("runner_means", outcome_cells(outcomes, _MAY_BE_MISSING, gaps=True)),
        ("runners", body_cells(outcomes, gaps=True)),
    ):
        wanted, counts = [], []
        for cell in found:
            own, others = _missing(cell, site, study)
            if own[1] >= least_runners and others[1] >= least_runners:
                most = site_windows.most_missing(own[1], *others, share, chance)
                wanted.append(_not_null(site, cell, own[1], most))
                counts.append((cell, own, others, most))
        told = carry_out(outcomes[table], wanted)
        answers += told
        for (cell, own, others, most), answer in zip(counts, told, strict=True):
            if not answer.met:
                values = {"missing": own[0], "runners": own[1], "other_missing": others[0], "other_runners": others[1]}
                named = {"what": words_of(cell.column), "place": cell.place, "column": cell.column, "most": most}
                faults.append({**named, **values, "how_far": own[0] / own[1]})
    if not answers:
        return nothing(f"too few runners: at least {least_runners:g} are needed, here and at the other sites")
    return looked(len(answers), _one_per_column(faults, answers), answers)


#: Outcomes that a whole trial has or lacks for a reason of the laboratory, not of the runner.
_NEEDS_FORCE = ("active_peak_bw", "braking_impulse_bw_s")
_MAY_BE_MISSING = ("foot_strike_angle_deg", *_NEEDS_FORCE)


def _missing(cell: Cell, site: str, study: Study) -> tuple[tuple[int, int], tuple[int, int]]:
    """Runners without a value and all runners, of the site and of the others; of sites that can have a value."""
    counts = {
        name: (int(np.isnan(own).sum()), len(own))
        for name, own in cell.values.items()
        if cell.column not in _NEEDS_FORCE or records_force(study, name)
    }
    others = [own for name, own in counts.items() if name != site]
    return counts.get(site, (0, 0)), (sum(m for m, _ in others), sum(n for _, n in others))


def _between(kind: str, site: str, cell: Cell, window: tuple[float, float, float]) -> Expected:
    usual = about(cell, lower=window[0], upper=window[1])
    bounds = {"min_value": window[0], "max_value": window[1]}
    return Expected(kind, cell.column, {"site": site, **cell.where}, bounds, usual)


def _not_null(site: str, cell: Cell, count: int, most: int) -> Expected:
    usual = about(cell, lower=None, upper=most) | {"unit": "runners without a value"}
    mostly = {"mostly": max(0.0, 1 - most / count - 1e-9)}
    return Expected("expect_column_values_to_not_be_null", cell.column, {"site": site, **cell.where}, mostly, usual)


def _named(cell: Cell, site: str) -> dict[str, Any]:
    unit = f" {cell.unit}" if cell.unit else ""
    count = len(cell.values[site])
    return {"what": words_of(cell.column), "column": cell.column, "unit": unit, "runners": count, "place": cell.place}


def _one_per_column(faults: list[dict[str, Any]], answers: list[Answer]) -> list[dict[str, Any]]:
    """The fault that is furthest off of each column, with how many of its comparisons are off: one cause, one note."""
    judged = Counter(answer.expected.column for answer in answers)
    off = Counter(fault["column"] for fault in faults)
    worst: dict[str, dict[str, Any]] = {}
    for fault in sorted(faults, key=lambda fault: -fault["how_far"]):
        worst.setdefault(fault["column"], fault)
    return [{**fault, "off": off[column], "judged": judged[column]} for column, fault in worst.items()]
