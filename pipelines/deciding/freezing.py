"""A person freezes the analysis plan: from then on the ledger tells what it said and how much was there to be seen.

What a plan says is in ``schemas.plan``, the line it becomes in ``pipelines.depot.plans``; nothing is analysed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.depot.desk import Desk
from pipelines.depot.plans import ABOUT, WHAT, Frozen, frozen_plans
from pipelines.errors import Unusable
from pipelines.identity.reasons import refuse_who
from pipelines.identity.word_list import names_beside
from pipelines.study.file import LoadedStudy
from pipelines.study.plan import NAME, LoadedPlan


@dataclass(frozen=True)
class FrozenNow:
    """What became of it. new: False if this plan is the one that was frozen last. trials: accepted when it was."""

    plan: LoadedPlan
    new: bool
    utc: str
    trials: int

    def text(self) -> str:
        """The outcome, for people."""
        plan = self.plan
        if not self.new:
            return f"This plan was frozen already, {self.utc[:19]} UTC: version {plan.plan.version}, {plan.sha256}."
        lines = [f"Frozen: version {plan.plan.version}, {plan.sha256}."]
        if self.trials:
            lines.append(
                f"{self.trials} accepted trials, running and standing, were in the depot already; ledger and warehouse "
                "say so."
            )
        return "\n".join([*lines, "The ledger holds what it says for good."])


def what_to_freeze(study: LoadedStudy, why: str) -> tuple[LoadedPlan, str]:
    """The plan beside the study file, and the reason in plain form. Raises Unusable without one of them."""
    if study.plan is None:
        remedy = f"Write {NAME} beside the study file; docs/reference/analysis_plan.md explains it."
        raise Unusable("There is no analysis plan.", f"{NAME} beside the study file.", remedy, file=study.path)
    why = " ".join(why.split())
    if not why:
        raise Unusable("No reason is given.", "why it is frozen now.", "Say it with --why.")
    return study.plan, why


def freeze_plan(desk: Desk, why: str) -> FrozenNow:
    """Write the plan beside the study file into the ledger, in the name of the desk's actor; not twice in a row.

    Raises Unusable as ``what_to_freeze``, for a reason that names somebody, and for a version that stands for other
    content already.
    """
    plan, why = what_to_freeze(desk.study, why)
    refuse_who(why, desk.books.gates.every_runner(), names_beside(desk.study.path))
    before = frozen_plans(desk.books)
    if before and before[-1].is_plan(plan):
        return FrozenNow(plan, False, before[-1].utc, before[-1].trials)
    _refuse_same_version(plan, before)
    trials = desk.books.trials.accepted_count()
    desk.ledger.decided(
        WHAT,
        ABOUT,
        why,
        plan_sha256=plan.sha256,
        plan_version=plan.plan.version,
        accepted_trials=trials,
        settings=plan.settings,
    )
    return FrozenNow(plan, True, frozen_plans(desk.books)[-1].utc, trials)


def _refuse_same_version(plan: LoadedPlan, before: Sequence[Frozen]) -> None:
    """Raises Unusable where a plan that meant something else was frozen under the same version, be it the same file."""
    version = plan.plan.version
    for one in before:
        if one.version == version and (differs := one.changed(plan)):
            raise Unusable(
                f"Version {version} was frozen {one.utc[:19]} UTC with other content: another {', '.join(differs)}.",
                "a version of its own for every plan that says something else.",
                "Raise version, then freeze it.",
                file=plan.path,
                place="version",
            )
