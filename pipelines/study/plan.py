"""Reads the analysis plan, ``plan.yaml`` beside the study file, and holds it against the study.

What the settings mean is in ``schemas.plan``. When and by whom a plan was frozen is in ``pipelines.depot.plans``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Container, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from checks.registry import catalogue
from pipelines.study.reading import Fault, checked, parse, read_bytes, refuse
from schemas.compared import known_curves, why_no_outcome
from schemas.outcomes_planned_doses import SYMPTOMS
from schemas.plan import STUDY_FILE, Plan, PlannedComparison, PlannedCurve, PlannedDose, question
from schemas.study import Study

Asked = TypeVar("Asked", PlannedComparison, PlannedCurve)
NAME = "plan.yaml"
_PAGE = "analysis_plan.md"
_ONCE = (
    "each comparison once; set speeds are told apart to 0.1 m/s, a reference_condition that is left out is that of "
    "the study file, and a comparison the other way round has the same answer with the other sign"
)
_COMPARING = ("primary", "secondary", "curves")


@dataclass(frozen=True)
class LoadedPlan:
    """A plan as read, references filled in. sha256: of the file's bytes, as ``sha256sum`` tells it.

    rests_on: what it leaves to the study file, as plain words: ``what_numbers_rest_on``.
    """

    plan: Plan
    sha256: str
    path: Path
    rests_on: dict[str, Any] = field(default_factory=dict)

    @property
    def settings(self) -> dict[str, Any]:
        """What it means: what it says, references filled in, and what it rests on."""
        return self.plan.model_dump(mode="json") | ({STUDY_FILE: self.rests_on} if self.rests_on else {})

    @property
    def answered(self) -> Plan:
        """The plan with each comparison once, where it stands first: two answers to one cannot be told apart."""
        repeated = {fault.place for fault in _repeats(self.plan)}
        once = {
            family: tuple(
                one
                for number, one in enumerate(getattr(self.plan, family), start=1)
                if f"{family}.{number}" not in repeated
            )
            for family in _COMPARING
        }
        return self.plan.model_copy(update=once)

    def refuse_repeats(self, frozen: Container[str] = ()) -> None:
        """Raises Unusable if a comparison stands twice, unless it was frozen so: nobody can take that back.

        frozen: ``sha256`` of plans that were.
        """
        if self.sha256 not in frozen:
            refuse(list(_repeats(self.plan)), self.path, _PAGE)


def load_plan(folder: Path, study: Study) -> LoadedPlan | None:
    """The plan in the study file's folder; None if there is none. Raises Unusable, but not for what stands twice.

    Whether that may be depends on what was frozen: ``LoadedPlan.refuse_repeats``.
    """
    path = folder / NAME
    if not path.exists():
        return None
    data = read_bytes(path, "analysis plan")
    plan = checked(Plan, parse(data, path, _PAGE), path, _PAGE)
    refuse(list(_disagreements(plan, study)), path, _PAGE)
    return LoadedPlan(_filled(plan, study), hashlib.sha256(data).hexdigest(), path, what_numbers_rest_on(study))


def what_numbers_rest_on(study: Study) -> dict[str, Any]:
    """What of a study file changes what its numbers mean or which trials are in them, as plain words.

    How outcomes are made and compared, planned weeks, what conditions are, what the study does without, the limits of
    checks; and of each site its own limits, its own events and the SHA-256 of what its profile says.
    """
    return {
        "processing": study.processing.model_dump(mode="json"),
        "visits": {name: visit.planned_week for name, visit in study.visits.items()},
        "conditions": {name: one.description for name, one in study.conditions.items()},
        "does_without": sorted(map(str, study.does_without)),
        "limits": {check: dict(own) for check, own in study.limits.items()},
        "sites": {
            name: {
                "limits": {check: {n: one.value for n, one in own.items()} for check, own in site.limits.items()},
                "events": site.events.changes if site.events is not None else {},
                "profile": hashlib.sha256(site.profile.model_dump_json().encode()).hexdigest(),
            }
            for name, site in study.sites.items()
        },
    }


def _filled(plan: Plan, study: Study) -> Plan:
    reference = study.processing.contrasts.reference_condition

    def with_reference(one: Asked) -> Asked:
        own = one.condition if one.contrast == "visit" else one.reference_condition or reference
        return one.model_copy(update={"reference_condition": own})

    families = {name: tuple(map(with_reference, getattr(plan, name))) for name in _COMPARING}
    return plan.model_copy(update=families)


def _disagreements(plan: Plan, study: Study) -> Iterator[Fault]:
    for family in ("primary", "secondary"):
        for number, one in enumerate(getattr(plan, family), start=1):
            yield from _faults(one, f"{family}.{number}", study)
            if (expected := why_no_outcome(one.outcome)) is not None:
                yield Fault(f"{family}.{number}.outcome", f"is {one.outcome!r}", expected)
            yield from _faults_of_speed(one.set_speed_m_per_s, f"{family}.{number}.set_speed_m_per_s")
    quantities = known_curves(study.muscles)
    for number, curve in enumerate(plan.curves, start=1):
        yield from _faults(curve, f"curves.{number}", study)
        if curve.quantity not in quantities:
            yield Fault(f"curves.{number}.quantity", f"is {curve.quantity!r}", f"one of {', '.join(quantities)}")
    for number, dose in enumerate(plan.dose_responses, start=1):
        yield from _faults_of_dose(dose, f"dose_responses.{number}", study)
    for check in plan.exclude.notes_of:
        if check not in catalogue():
            yield Fault("exclude.notes_of", f"names {check!r}", "names of checks, from docs/reference/checks")


def _faults_of_speed(speed: float | None, place: str) -> Iterator[Fault]:
    """A speed beyond those that ``set_speed_is_a_running_speed`` takes for one: nobody has runs at it."""
    least, most = (
        catalogue()["set_speed_is_a_running_speed"].defaults[name] for name in ("slowest_m_s", "fastest_m_s")
    )
    if speed is not None and not least <= speed <= most:
        yield Fault(place, f"is {speed:g} m/s", f"a running speed, {least:g} to {most:g} m/s")


def _repeats(filled: Plan) -> Iterator[Fault]:
    """Comparisons that are the same as one before. filled: with its references."""
    first: dict[tuple[str | None, ...], str] = {}
    for family in _COMPARING:
        for number, one in enumerate(getattr(filled, family), start=1):
            place = f"{family}.{number}"
            other = first.setdefault(question(one), place)
            if other != place:
                yield Fault(place, f"asks the same as {other}", _ONCE)


def _faults(one: PlannedComparison | PlannedCurve, place: str, study: Study) -> Iterator[Fault]:
    conditions, visits = ", ".join(study.conditions), sorted(study.visits, key=lambda v: study.visits[v].planned_week)
    for name in ("condition", "reference_condition"):
        if (word := getattr(one, name)) is not None and word not in study.conditions:
            yield Fault(f"{place}.{name}", f"is {word!r}", f"one of {conditions}")
    reference = one.reference_condition or study.processing.contrasts.reference_condition
    if one.contrast != "visit" and reference in (None, one.condition):
        yield Fault(f"{place}.reference_condition", f"is {reference or 'not set'}", f"a condition but {one.condition}")
    if one.visit not in study.visits:
        yield Fault(f"{place}.visit", f"is {one.visit!r}", f"one of {', '.join(visits)}")
    elif one.contrast != "condition" and one.visit == visits[0]:
        yield Fault(f"{place}.visit", f"is the first of the plan, {one.visit}", f"one of {', '.join(visits[1:])}")


def _faults_of_dose(one: PlannedDose, place: str, study: Study) -> Iterator[Fault]:
    later = sorted(study.visits, key=lambda v: study.visits[v].planned_week)[1:]
    if not study.processing.transition.new_footwear:
        expected = "processing.transition.new_footwear in the study file, which says what the hours are of"
        yield Fault(place, "asks for hours in the new footwear", expected)
    if one.visit not in later:
        yield Fault(f"{place}.visit", f"is {one.visit!r}", f"one of {', '.join(later)}")
    if one.response == SYMPTOMS:
        if one.condition is not None:
            yield Fault(f"{place}.condition", f"is {one.condition!r}", "none, since symptoms have no condition")
        return
    if (expected_name := why_no_outcome(one.response)) is not None:
        yield Fault(f"{place}.response", f"is {one.response!r}", f"{SYMPTOMS}, or {expected_name}")
    if one.condition not in study.conditions:
        yield Fault(f"{place}.condition", f"is {one.condition!r}", f"one of {', '.join(study.conditions)}")
