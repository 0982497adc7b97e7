"""The analyses of a plan: its comparisons as planned, and in every way in which the plan wants them doubted.

What trials are left out is in ``planned_trials``, who is compared in ``planned_groups``; the models are in
``one_stage`` and ``pooling``. Nothing here is chosen by what was found: what falls back does so by rule, and the row
says it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipelines.science.frames import frame_of
from pipelines.science.statistics.comparisons import (
    ASKED,
    METHOD,
    METHODS,
    SPEED,
    Families,
)
from pipelines.science.statistics.multiplicity import adjusted
from pipelines.science.statistics.planned_doubts import marked
from pipelines.science.statistics.planned_groups import (
    NONE,
    Asked,
    compared,
    covariate_of,
    grouped,
    of_comparison,
    of_runners,
)
from pipelines.science.statistics.planned_measured import Who, without_values
from pipelines.science.statistics.planned_models import one_stage_row, site_rows
from pipelines.science.statistics.planned_trials import differences, kept
from pipelines.science.statistics.pooled import meta_row
from pipelines.science.statistics.pooling import against_smallest
from schemas.compared import compared_speed, speed_word
from schemas.outcomes_planned import PLANNED_CONTRASTS, PLANNED_DIFFERENCES
from schemas.plan import ONE_STAGE, Plan, PlannedComparison
from schemas.processing import ContrastProcessing, Processing

if TYPE_CHECKING:
    import pandas as pd

_REML = "random_effects_restricted_likelihood"
_EACH = "each runner's speeds"
#: Covariates that no release tells runner by runner.
KEPT_BACK = ("mass", "sex")


@dataclass(frozen=True)
class Way:
    """One way of analysing. rows, left_out: runners' differences, and the trials they are not made of.

    first: visit that later ones are compared with. weighable: of a way that weighs anew, the trials it can weigh.
    """

    variant: str
    rows: pd.DataFrame
    left_out: pd.DataFrame
    plan: Plan
    first: str
    detail: str = NONE
    weighable: pd.DataFrame | None = None


@dataclass(frozen=True)
class About:
    """What else one comparison is counted by. runners: of ``of_runners``; trials, measured: as planned_answers has."""

    runners: pd.DataFrame
    trials: pd.DataFrame
    measured: pd.DataFrame | None


@dataclass(frozen=True)
class MadeOf:
    """What one analysis is made of; methods: of its outcome, with a difference or not."""

    asked: Asked
    methods: Sequence[str]


def families(plan: Plan) -> Families:
    """``ASKED`` and the speed of each planned comparison -> its family."""
    both = (("secondary", plan.secondary), ("primary", plan.primary))
    return {(*(str(getattr(one, name)) for name in ASKED), _speed(one)): family for family, own in both for one in own}


def asked_speed(one: PlannedComparison) -> str:
    """At what speed a comparison is asked about, in the words of ``planned_contrasts``."""
    return _speed(one) or _EACH


def _speed(one: PlannedComparison) -> str | None:
    return None if one.set_speed_m_per_s is None else speed_word(one.set_speed_m_per_s)


def planned_answers(
    trials: pd.DataFrame,
    plan: Plan,
    processing: Processing,
    visits: Sequence[str],
    stamp: Mapping[str, Any],
    measured: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """``planned_contrasts`` and the ``planned_differences`` they are made of, less provenance.

    visits: in the plan's order; the first is the reference.

    trials: as ``planned_trials.kept`` takes them. stamp: plan_sha256, plan_version, plan_state. measured: what was
    accepted, with a value or not, as ``planned_participants`` takes it; None for nothing but the trials.
    """
    every = _ways(trials, plan, processing, visits)
    main = next(every)
    ways = [main, *(every if main.rows["difference_value"].notna().any() else ())]
    rows: list[dict[str, Any]] = []
    pairs: list[dict[str, Any]] = []
    for family in ("primary", "secondary"):
        own = []
        for one in getattr(plan, family):
            mine, about = _of_one(one, ways), About(of_runners(one, trials, visits[0]), trials, measured)
            made = _made_of(one, mine[0], about)
            own.append(_each_way(one, made, mine, about, processing.contrasts))
            pairs += _pairs(one, made, main)
        rule = getattr(plan.multiplicity, family)
        for each, p_value in zip(own, adjusted([e[0]["two_sided_p_value"] for e in own], rule), strict=True):
            each[0]["adjusted_p_value"] = p_value
            told = {"family": family, "multiplicity": rule, "family_count": len(own), **stamp}
            rows += [row | told for row in each]
    return frame_of(PLANNED_CONTRASTS, rows), frame_of(PLANNED_DIFFERENCES, pairs)


def _ways(trials: pd.DataFrame, plan: Plan, processing: Processing, visits: Sequence[str]) -> Iterator[Way]:
    """The main way first, then all others but those that a single comparison has: without a site, by one method."""
    weighed = processing.contrasts.trial_weights == "uncertainty"

    def way(variant: str, plan: Plan, *, weighed: bool = weighed) -> Way:
        used = kept(trials, plan.exclude)
        left_out = trials[~trials.index.isin(used.index)]
        return Way(variant, differences(used, plan, processing, visits, weighed=weighed), left_out, plan, visits[0])

    main = way("main", plan)
    yield main
    for word in plan.sensitivity:
        if word in ("without_overridden", "without_noted"):
            name = "accepted_by_override" if word == "without_overridden" else "noted"
            exclude = plan.exclude.model_copy(update={name: True})
            yield way(word, plan.model_copy(update={"exclude": exclude}))
        elif word == "uncertainty_weights":
            yield replace(way(word, plan, weighed=True), weighable=trials[trials["doubt"] > 0])
        elif word == "other_model":
            other = _REML if plan.pooling_model == ONE_STAGE else ONE_STAGE
            yield replace(main, variant=word, plan=plan.model_copy(update={"pooling_model": other, "covariates": ()}))
        elif word == "without_covariates" and plan.covariates:
            yield replace(main, variant=word, plan=plan.model_copy(update={"covariates": ()}))


def _of_one(one: PlannedComparison, ways: Sequence[Way]) -> list[Way]:
    """The ways with the rows of one comparison alone, picked once where several ways have the same."""
    own = {id(way.rows): of_comparison(one, way.rows) for way in ways}
    return [replace(way, rows=own[id(way.rows)]) for way in ways]


def _each_way(
    one: PlannedComparison, made: MadeOf, ways: Sequence[Way], about: About, settings: ContrastProcessing
) -> list[dict[str, Any]]:
    """Rows of one comparison, the main one first. Where nobody can be compared there is nothing to doubt."""
    main, *others = ways
    first = _row(one, main, made, settings)
    if not first["runner_count"]:
        return [first]
    if "leave_one_site_out" in main.plan.sensitivity:
        for site in sorted(set(made.asked.group.sites)):
            rows = main.rows[main.rows["site"].astype(str) != site]
            others.append(replace(main, variant="without_site", rows=rows, detail=site))
    if "one_event_method" in main.plan.sensitivity:
        for method in sorted(made.methods):
            plan = main.plan.model_copy(update={"event_methods": (method,)})
            others.append(replace(main, variant="one_event_method", plan=plan, detail=method))
    told = [(first, made.asked)]
    for way in others:
        own = _made_of(one, way, about)
        told.append((_doubting(one, way, own, told, settings), own.asked))
    return [row for row, _ in told]


def _doubting(
    one: PlannedComparison,
    way: Way,
    made: MadeOf,
    before: Sequence[tuple[Mapping[str, Any], Asked]],
    settings: ContrastProcessing,
) -> dict[str, Any]:
    """The row of another way, marked where it is one of those before it over again, the main one first."""
    row, weighed = _row(one, way, made, settings), way.weighable
    weighable = weighed is None or bool(_concerned(one, weighed, row["reference_visit"]).any())
    return marked(row, made.asked, before, weighable=weighable)


def _made_of(one: PlannedComparison, way: Way, about: About) -> MadeOf:
    own = compared(one, way.rows, way.plan)
    told = own[own["outcome"] == one.outcome]
    methods = sorted(set(told[METHOD]) - {NONE}, key=METHODS.index)
    return MadeOf(grouped(one, own, way.plan, about.runners, _unvalued(one, way, about)), methods)


def _unvalued(one: PlannedComparison, way: Way, about: About) -> Mapping[Who, str]:
    """Who was measured on all sides and has no value on one or all of them, of the sites that are in it."""
    if about.measured is None:
        return {}
    left_out = set(way.left_out["trial_id"])
    found = without_values(one, way.plan, way.first, about.measured, about.trials, left_out)
    return {who: why for who, why in found.items() if way.variant != "without_site" or who[1] != way.detail}


def _words(one: PlannedComparison, way: Way) -> dict[str, Any]:
    """What is compared, as columns."""
    return {name: getattr(one, name) for name in ASKED} | {
        "reference_visit": one.visit if one.contrast == "condition" else way.first,
        "at_speed": asked_speed(one),
    }


def _pairs(one: PlannedComparison, made: MadeOf, way: Way) -> Iterator[dict[str, Any]]:
    """Rows of ``planned_differences``."""
    group, covariates = made.asked.group, made.asked.covariates
    place = {name: number for number, name in enumerate(made.asked.names)}
    for n, (runner, site) in enumerate(zip(group.runners, group.sites, strict=True)):
        row = _words(one, way) | {"participant_id": runner, "site": site, "difference_value": group.differences[n]}
        row |= {"condition_mean_value": group.means[n], "reference_mean_value": group.reference_means[n]}
        for name, column in (("order", "order_difference_index"), ("speed", "speed_difference_m_per_s")):
            row[column] = covariates[n, place[name]] if name in place else None
        row["mass_kg"] = covariates[n, place["mass"]] if "mass" in place else None
        row["sex"] = made.asked.sexes[n] if "sex" in map(covariate_of, place) else None
        yield row


def _row(one: PlannedComparison, way: Way, made: MadeOf, settings: ContrastProcessing) -> dict[str, Any]:
    asked, group = made.asked, made.asked.group
    row = _words(one, way)
    row |= {
        "variant": way.variant,
        "variant_detail": way.detail,
        "event_methods": ", ".join(made.methods) or NONE,
        "lacking_covariate_count": asked.lacking,
        "sites_left_out": ", ".join(f"{site} ({' and '.join(why)})" for site, why in asked.lost_sites.items()) or NONE,
        "condition_later_count": int((asked.orders > 0).sum()),
        "condition_earlier_count": int((asked.orders < 0).sum()),
        "excluded_trial_count": _excluded(one, way, row["reference_visit"]),
        "smallest_effect_value": one.smallest_effect,
        "adjusted_p_value": None,
        "changes_nothing": False,
        "same_as": NONE,
        "rare_levels": NONE,
    }
    row |= group.counted()
    if way.plan.pooling_model == ONE_STAGE:
        row |= one_stage_row(asked, settings)
    else:
        row |= meta_row(group, list(site_rows(group, settings)), "restricted_likelihood", settings)
        row |= {"pooling_method": _REML, "covariates": NONE}
    row["covariates_kept_back"] = ", ".join(n for n in KEPT_BACK if n in row["covariates"].split(", ")) or NONE
    ends = row["lower_limit_value"], row["upper_limit_value"]
    return row | {"against_smallest_effect": against_smallest(*ends, one.smallest_effect)}


def _excluded(one: PlannedComparison, way: Way, reference_visit: str) -> int:
    left = way.left_out
    return int(left.loc[_concerned(one, left, reference_visit), "trial_id"].nunique())


def _concerned(one: PlannedComparison, trials: pd.DataFrame, reference_visit: str) -> pd.Series[bool]:
    """Which trials a comparison could be made of."""
    mine = (trials["outcome"] == one.outcome) & trials["visit"].isin([one.visit, reference_visit])
    mine &= trials["condition"].isin([one.condition, one.reference_condition])
    if one.set_speed_m_per_s is not None:
        mine &= (trials[SPEED] - compared_speed(one.set_speed_m_per_s)).abs() < 0.05
    return mine
