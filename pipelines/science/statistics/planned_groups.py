"""Who is compared in one analysis of a plan, and what is known of each: differences and covariates, as arrays.

Trials became differences in ``planned_trials``; the models come after, in ``planned``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipelines.science.statistics.comparisons import ASKED, METHOD, METHODS, SPEED, WHO, Group
from pipelines.science.statistics.planned_measured import Who
from pipelines.science.statistics.planned_trials import MEASURED, ORDER
from schemas.codes import SEX, UNDISCLOSED
from schemas.compared import compared_speed
from schemas.plan import Plan, PlannedComparison
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

NONE = "none"
#: Runners of one word, of whom fewer say hardly what it does. Own limit.
FEW = 3
#: What a covariate must vary by among the differences, else its slope is chance in how it was measured. Own limits.
_SAME = 1e-9
LEAST_SPREAD = {"speed": (0.01, "m/s"), "mass": (0.5, "kg")}


@dataclass(frozen=True)
class Asked:
    """What one analysis is made of.

    covariates: (n, c) of the n differences, as they were measured; names: of them, what is no number having a column
    for each of its words but the first, such as "sex (male)"; unknown: those that the plan wants and nobody has;
    lacking: runners at sites who have a difference and not all covariates, and are left out; lost_sites: those of whom
    none is left, each with what is not known there. orders: (n,) by how many places the condition came later, not a
    number where that is not known. sexes: (n,) as stated, None where that is not known. rare: words that few have.
    """

    group: Group
    covariates: FloatArray
    names: Sequence[str]
    unknown: Sequence[str]
    lacking: int
    lost_sites: Mapping[str, Sequence[str]]
    orders: FloatArray
    sexes: NDArray[Any]
    rare: Sequence[str]


def of_runners(one: PlannedComparison, trials: pd.DataFrame, first_visit: str) -> pd.DataFrame:
    """By runner: mean mass in kg over the sessions that a comparison is about, whatever else is planned; sex as stated,
    nothing where it was not."""
    mine = trials["visit"].isin([one.visit, one.visit if one.contrast == "condition" else first_visit])
    sessions = trials[mine & (trials["outcome"] == one.outcome)].drop_duplicates(["participant_id", "site", "visit"])
    stated = sessions["sex"].isin([code.value for code in SEX if code.value != UNDISCLOSED])
    told = sessions.assign(sex=sessions["sex"].where(stated)).groupby("participant_id", observed=True)
    found: pd.DataFrame = told.agg(mass_kg=("mass_kg", "mean"), sex=("sex", "first"))
    return found


def of_comparison(one: PlannedComparison, rows: pd.DataFrame) -> pd.DataFrame:
    """The rows of one comparison and of its covariates, in order, by whatever method."""
    mine = np.ones(len(rows), bool)
    for name in ASKED[1:]:
        mine &= (rows[name].astype(str) == str(getattr(one, name))).to_numpy()
    mine &= rows["outcome"].astype(str).isin([one.outcome, ORDER, MEASURED]).to_numpy()
    if one.set_speed_m_per_s is not None:
        mine &= (rows[SPEED] - compared_speed(one.set_speed_m_per_s)).abs().to_numpy() < 0.05
    return rows[mine].astype(dict.fromkeys((*WHO, METHOD, "outcome", "reason_null"), object))


def compared(one: PlannedComparison, rows: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Of rows of ``of_comparison`` those by one method at each site: of those in the plan the one by which most of its
    runners have a difference, of two with as many the one that is believed most; else one runner would drop a site."""
    own = rows[rows[METHOD].isin([NONE, *plan.event_methods]).to_numpy()]
    sites, ranks = own["site"].tolist(), [METHODS.index(method) for method in own[METHOD]]
    told = ((own["outcome"] == one.outcome).to_numpy() & own["difference_value"].notna().to_numpy()).tolist()
    runners: dict[str, dict[int, set[str]]] = {}
    for site, rank, runner, has in zip(sites, ranks, own["participant_id"].tolist(), told, strict=True):
        by_rank = runners.setdefault(site, {}).setdefault(rank, set())
        if has:
            by_rank.add(runner)
    best = {site: max(by_rank, key=lambda rank: (len(by_rank[rank]), -rank)) for site, by_rank in runners.items()}
    return own[np.array([rank == best[site] for site, rank in zip(sites, ranks, strict=True)], bool)]


def grouped(
    one: PlannedComparison, own: pd.DataFrame, plan: Plan, about: pd.DataFrame, unvalued: Mapping[Who, str]
) -> Asked:
    """The runners' differences, each a mean over speeds. own: of ``compared``. about: by runner, mass_kg and sex.

    unvalued: of ``planned_measured.without_values``; who is in no row of ``own`` for having no value at all.
    """
    outcome, difference = own["outcome"].to_numpy(object), own["difference_value"].to_numpy(float)
    who = list(zip(own["participant_id"].tolist(), own["site"].tolist(), strict=True))
    cells = list(zip(who, own[SPEED].tolist(), own[METHOD].tolist(), strict=True))
    known = np.isfinite(difference)
    mine = np.flatnonzero((outcome == one.outcome) & known)
    pairs = sorted({who[row] for row in mine})
    place = {pair: number for number, pair in enumerate(pairs)}
    without = {who[row]: row for row in np.flatnonzero((outcome == one.outcome) & ~known)[::-1]}
    reasons = own["reason_null"].tolist()
    lacks = Counter(reasons[row] for pair, row in sorted(without.items(), key=_second) if pair not in place)
    used = dict(zip(own["site"].tolist(), own[METHOD].tolist(), strict=True))
    silent = {(who, at): why for (who, at, by), why in unvalued.items() if used.get(at, by) == by}
    lacks += Counter(why for pair, why in silent.items() if pair not in place and pair not in without)

    def means(rows: NDArray[np.intp], column: str = "difference_value") -> FloatArray:
        """(n,) means of some rows by runner and site, NaN where there is none."""
        at = [place[who[row]] for row in rows]
        sums = np.bincount(at, own[column].to_numpy(float)[rows], len(pairs))
        counts = np.bincount(at, minlength=len(pairs))
        return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)

    differing = {cells[row] for row in mine}
    same_cells = np.array([cell in differing for cell in cells], bool)
    columns = {
        name: means(np.flatnonzero((outcome == made) & known & same_cells))
        for name, made in (("order", ORDER), ("speed", MEASURED))
    }
    runners = [runner for runner, _ in pairs]
    columns["mass"] = about["mass_kg"].reindex(runners).to_numpy(float)
    sexes = about["sex"].reindex(runners).to_numpy(object)
    columns |= (of_sex := _by_word("sex", sexes))
    asked = [name for word in plan.covariates for name in (of_sex if word == "sex" else (word,))]
    names = [name for name in asked if np.isfinite(columns[name]).any()]
    unknown = [name for name in plan.covariates if name not in map(covariate_of, names)]
    table = np.array([columns[name] for name in names]).reshape(len(names), len(pairs)).T
    told = [not _is_flat(name, columns[name]) for name in names]  # for what is left out anyway nobody is
    has = np.isfinite(table[:, told]).all(axis=1)
    at = np.array([site for _, site in pairs], object)
    lost = {}
    for site in sorted(set(at) - set(at[has])):
        lacking = zip(names, told, np.isfinite(table[at == site]).all(axis=0).tolist(), strict=True)
        lost[site] = list(dict.fromkeys(covariate_of(name) for name, has_to, have in lacking if has_to and not have))
    kept = np.array(runners, object)[has], at[has]
    sides = [means(mine, column)[has] for column in ("condition_mean_value", "reference_mean_value")]
    group = Group(*kept, sides[0], sides[1], means(mine)[has], lacks)
    rare = _rare("sex", dict(zip(kept[0], sexes[has], strict=True)))
    return Asked(group, table[has], names, unknown, int((~has).sum()), lost, columns["order"][has], sexes[has], rare)


def covariate_of(name: str) -> str:
    """The covariate that a column belongs to."""
    return name.partition(" (")[0]


def _is_flat(name: str, column: FloatArray) -> bool:
    """Whether a covariate hardly varies among those of whom it is known, so that no model can have it."""
    known = column[np.isfinite(column)]
    return bool(np.ptp(known) < max(LEAST_SPREAD.get(name, (0.0, ""))[0], _SAME)) if known.size else True


def _by_word(name: str, words: NDArray[Any]) -> dict[str, FloatArray]:
    """Columns of 0 and 1 by which every word that somebody has is told from the first; NaN where there is none."""
    known = np.array([isinstance(word, str) for word in words], bool)
    levels = sorted(set(words[known]))
    if len(levels) < 2:
        return {name: np.where(known, 0.0, np.nan)}
    return {f"{name} ({level})": np.where(known, words == level, np.nan) for level in levels[1:]}


def _rare(name: str, words: Mapping[str, Any]) -> list[str]:
    """What is told of words that fewer than ``FEW`` runners have, where others have others. words: of each runner."""
    counts = Counter(word for word in words.values() if isinstance(word, str))
    few = {word: count for word, count in sorted(counts.items()) if count < FEW and len(counts) > 1}
    told = {1: "1 runner, a level of its own that says little of others"}
    several = "runners, a level of their own that says little of others"
    return [f"{name} {word} is {told.get(count, f'{count} {several}')}" for word, count in few.items()]


def _second(item: tuple[object, int]) -> int:
    return item[1]


def told_apart(asked: Asked) -> tuple[list[str], FloatArray, list[str]]:
    """Names and columns of the covariates that a model can have, and why others are left out.

    Order and speed stay as they are, the answer being for equal places and speeds; mass and sex are centred. One that
    is the same for all and at its point of reference changes nothing and is left out, as is one that varies by less
    than ``LEAST_SPREAD``; both are told.
    """
    used: list[str] = []
    columns = [np.ones(len(asked.covariates))]
    left = [f"without {name}: it is known of no runner" for name in asked.unknown]
    for name, column in zip(asked.names, asked.covariates.T, strict=True):
        known = column[np.isfinite(column)]
        if not known.size:
            left.append(f"without {name}: it is known of no runner")
            continue
        if known.size < column.size:
            left.append(f"without {name}: it hardly varies among the {known.size} of {column.size} it is known of")
            continue
        own = column if name in ("order", "speed") else column - known.mean()
        if np.abs(own).max() < _SAME:
            left.append(f"without {name}: it is alike for all, with nothing to allow for")
            continue
        least, unit = LEAST_SPREAD.get(name, (0.0, ""))
        if np.ptp(column) < least:
            left.append(f"without {name}: it varies by less than {least:g} {unit}, too little to tell what it does")
            continue
        tried = np.column_stack([*columns, own / np.abs(own).max()])
        if np.linalg.matrix_rank(tried, tol=1e-6) < tried.shape[1]:
            left.append(
                f"without {name}: it is the same for all, so what it does cannot be distinguished from the difference"
            )
            continue
        used.append(covariate_of(name))
        columns.append(own)
    return list(dict.fromkeys(used)), np.column_stack(columns)[:, 1:], left
