"""The commands about the analysis plan: show it, freeze it. What it may say is in ``schemas.plan``."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from pipelines.command.as_json import echo_json
from pipelines.command.listing import Commands
from pipelines.command.logged import logged
from pipelines.command.options import DEFAULT_DEPOT, DEFAULT_STUDY, AsJson, DepotPath, Person, StudyPath

if TYPE_CHECKING:
    from pipelines.depot.plans import Frozen
    from pipelines.study.plan import LoadedPlan
    from schemas.plan import Exclusions, PlannedComparison, PlannedCurve, PlannedDose

plan_app = typer.Typer(
    cls=Commands, help="Read and freeze the analysis plan, plan.yaml beside the study file.", no_args_is_help=True
)


@plan_app.command("show")
def show_plan(study: StudyPath = DEFAULT_STUDY, depot: DepotPath = DEFAULT_DEPOT, as_json: AsJson = False) -> None:
    """Show what the plan asks, and whether it was frozen. Exit code 1 without a plan, or if it is not the frozen one.

    Example: manystrides plan show --study study.yaml --depot depot
    """
    from pipelines.depot.plans import frozen_plans
    from pipelines.depot.storage import Depot
    from pipelines.study.file import load_study

    plan, place = load_study(study).plan, Depot(depot)
    frozen: tuple[Frozen, ...] = ()
    if place.exists:
        with place.opened() as books:
            frozen = frozen_plans(books)
    if plan is not None:
        plan.refuse_repeats([one.sha256 for one in frozen])
    code = 0 if frozen and frozen[-1].is_plan(plan) else 1
    if as_json:
        here = {"sha256": plan.sha256, "settings": plan.settings} if plan is not None else None
        echo_json({"plan": here, "frozen": [asdict(one) for one in frozen], "exit_code": code})
        raise typer.Exit(code)
    if plan is None:
        typer.echo("There is no plan.yaml beside the study file: every analysis is exploratory.")
    else:
        typer.echo("\n".join(_told(plan)))
    for one in frozen:
        same = " (this one)" if one.is_plan(plan) else ""
        if not same and plan is not None and one.sha256 == plan.sha256:
            same = f" (this file, but not this plan: another {', '.join(one.changed(plan))})"
        typer.echo(f"Frozen {one.utc[:19]} UTC{same}: version {one.version}, {one.trials} trials accepted by then.")
    if not frozen:
        typer.echo("No plan was frozen yet.")
    elif code and plan is not None:
        typer.echo("The plan in force is not the one that was frozen last.")
    raise typer.Exit(code)


@plan_app.command("freeze")
@logged
def freeze(
    why: Annotated[str, typer.Option("--why", help="Why now, for the ledger; name no runner.")],
    by: Person,
    study: StudyPath = DEFAULT_STUDY,
    depot: DepotPath = DEFAULT_DEPOT,
) -> None:
    """Freeze the plan as it is: what it says, its hash and how many trials were there stand in the ledger for good.

    Best before the first delivery. A plan that is changed later can be frozen again under another version, and
    every time is recorded.

    Example: manystrides plan freeze --why "Before the first delivery" --as "Ann Lee" --study study.yaml
    """
    from pipelines.assets.deciding import freeze_plan

    typer.echo(freeze_plan(study, depot, why, by).text())


def _told(loaded: LoadedPlan) -> list[str]:
    plan = loaded.plan
    lines = [f"Analysis plan, version {plan.version}, SHA-256 {loaded.sha256}"]
    for family in ("primary", "secondary"):
        rule = getattr(plan.multiplicity, family).replace("_", " ")
        lines += [f"{family}, adjusted by {rule}:", *(f"  {_asked(one)}" for one in getattr(plan, family))]
    lines += _further("curves", [_of_curve(curve) for curve in plan.curves])
    lines += _further("dose-responses", [_of_dose(dose) for dose in plan.dose_responses])
    lines.append(f"pooled by {plan.pooling_model.replace('_', ' ')}; events by {', '.join(plan.event_methods)}")
    lines.append(f"allowing for {', '.join(plan.covariates) or 'nothing'}; doubted by {_words(plan.sensitivity)}")
    lines.append(f"leaving out {'; '.join(_left_out(plan.exclude)) or 'no accepted trial'}")
    return lines


def _further(title: str, asked: list[str]) -> list[str]:
    return [f"{title}, not adjusted:", *(f"  {one}" for one in asked)] if asked else []


def _left_out(exclude: Exclusions) -> list[str]:
    told = ["trials accepted in spite of a finding"] if exclude.accepted_by_override else []
    told += ["trials with a note"] if exclude.noted else []
    told += [f"trials with a note of {', '.join(exclude.notes_of)}"] if exclude.notes_of else []
    if (most := exclude.largest_speed_off_fraction) is not None:
        told.append(f"trials more than {100 * most:g} % off their set speed, or without a measured one")
    return told


def _words(names: tuple[str, ...]) -> str:
    return ", ".join(name.replace("_", " ") for name in names) or "nothing"


def _asked(one: PlannedComparison) -> str:
    from schemas.compared import speed_word

    speed = f", at {speed_word(one.set_speed_m_per_s)}" if one.set_speed_m_per_s is not None else ""
    smallest = f", smallest effect {one.smallest_effect:g}" if one.smallest_effect is not None else ""
    return f"{one.outcome}: {_compared(one)}{speed}{smallest}"


def _of_curve(one: PlannedCurve) -> str:
    return f"{one.quantity}: {_compared(one)}"


def _of_dose(one: PlannedDose) -> str:
    return f"{one.response}{f', {one.condition}' if one.condition else ''}: on the hours until {one.visit}"


def _compared(one: PlannedComparison | PlannedCurve) -> str:
    return {
        "condition": f"{one.condition} less {one.reference_condition} at {one.visit}",
        "visit": f"{one.condition}, change to {one.visit}",
        "interaction": f"{one.condition} less {one.reference_condition}, change to {one.visit}",
    }[one.contrast]
