"""What a person decides by command, and the graph then carries out: a check set aside, a withdrawal, a frozen plan.

What may be decided is in ``pipelines.deciding``, what a release holds in ``pipelines.release``; here a decision is
kept first, and then what the books say is due is done by the graph that every run carries out.
"""

from __future__ import annotations

from pathlib import Path

from pipelines.assets.run import at_work, carry_out
from pipelines.deciding import freezing, withdrawal
from pipelines.deciding.accepting import Asked, Outcome, decide, in_plain_form, outcome
from pipelines.deciding.freezing import FrozenNow
from pipelines.deciding.preview import held_with
from pipelines.deciding.preview_of_renewal import AWAITS_A_DELIVERY, days_given
from pipelines.deciding.withdrawal import Renewed, Restored, Withdrawn
from pipelines.depot.keys import release as release_key
from pipelines.errors import Unusable
from pipelines.release.make import Released, note_unlisted, refuse_what_a_run_must_do
from pipelines.release.unread_consents import looked_at
from pipelines.study.file import load_study
from pipelines.taking_in.batch import Bench, what_a_change_moves
from pipelines.taking_in.building import is_built
from pipelines.taking_in.due import any_follow_up
from pipelines.taking_in.withdrawing import any_left, waiting


def accept(study_path: Path, depot_root: Path | str, asked: Asked) -> Outcome:
    """Accept a trial in spite of a check, or take that back, and do what follows from it.

    Raises Unusable if it cannot be: nothing to set aside, a check nobody can set aside, no reason, no name.
    """
    asked = in_plain_form(asked)
    with at_work(study_path, depot_root, asked.by) as bench:
        decided = decide(bench.desk, asked)
        _what_follows(bench)
        return outcome(bench.desk, decided, bench.summary)


def withdraw(study_path: Path, depot_root: Path | str, asked: withdrawal.Asked) -> Withdrawn:
    """Take ``scope`` ("all" or one kind of data) of a runner out of the depot, and do what follows from it.

    Raises Unusable if the scope is unknown, if there is no reason or name, if the reason names the runner, if the
    depot does not know the runner and nobody said that the runner is still to come, or if a change of code or settings
    that waits would move trials with it.
    """
    asked = withdrawal.in_plain_form(asked)
    with at_work(study_path, depot_root, asked.by, yes=asked.with_changes) as bench:
        _refuse_what_moves_others(bench, asked.runner)
        noted = withdrawal.ask(bench.desk, asked)
        _what_follows(bench)
        done = [*bench.summary.withdrawals, *waiting(bench.desk)]
        own = (one for one in done if one.job.tombstone == noted.tombstone)
        return Withdrawn(noted.tombstone, asked.scope, next(own, None), bench.summary)


def take_back(study_path: Path, depot_root: Path | str, asked: withdrawal.Asked) -> Restored:
    """End a withdrawal within its time of grace, and do what follows from it. Raises Unusable if there is none."""
    asked = withdrawal.in_plain_form(asked)
    with at_work(study_path, depot_root, asked.by, yes=asked.with_changes) as bench:
        _refuse_what_moves_others(bench, asked.runner)
        tombstone = withdrawal.take_back(bench.desk, asked)
        _what_follows(bench)
        told = f"Taken back: tombstone {tombstone}. Consent counts again as the deliveries tell it."
        return Restored(told, bench.summary)


def renew(study_path: Path, depot_root: Path | str, asked: Renewed) -> Restored:
    """Let consent that a runner gave anew count from its day on; what was taken out does not come back.

    Raises Unusable if the runner never withdrew this scope, or if it counts from a later day on already.
    """
    withdrawal.refuse_renewal(asked)
    with at_work(study_path, depot_root, asked.by, yes=asked.with_changes) as bench:
        _refuse_what_moves_others(bench, asked.runner)
        tombstone = withdrawal.renew(bench.desk, asked)
        _what_follows(bench)
        told = (
            f"Renewed: tombstone {tombstone}. What consents.csv gives from study day {asked.from_day} on "
            "counts again; what was given before, and what was taken out, does not."
        )
        if all(day < asked.from_day for day in days_given(bench.desk, asked.runner, asked.scope)):
            told += f"\n{AWAITS_A_DELIVERY}"
        return Restored(told, bench.summary)


def release(
    study_path: Path,
    depot_root: Path | str,
    why: str,
    actor: str | None = None,
    *,
    openly: bool = False,
    consents: str | None = None,
) -> Released:
    """Freeze what the depot pools today, after doing what consent or a decision asks for.

    openly: only of runners who agreed to open sharing. consents: what the actor found in every consents.csv that could
    not be read; None if nobody looked.
    Raises Unusable if there is nothing to freeze, no reason is given, or other code judged some deliveries.
    """
    with at_work(study_path, depot_root, actor) as bench:
        books = bench.desk.books
        if consents is not None:
            looked_at(bench.desk, consents)
        refuse_what_a_run_must_do(bench.desk, why)
        note_unlisted(bench.desk)
        before = {entry.number for entry in books.releases.all()}
        carry_out(bench, freeze={"why": why, "openly": openly})
        entry = books.releases.all()[-1]
        new, folder = entry.number not in before, bench.desk.depot.store.local(release_key(entry.name))
        return Released(entry, folder, new, bench.summary.finished)


def freeze_plan(study_path: Path, depot_root: Path | str, why: str, by: str) -> FrozenNow:
    """Freeze the analysis plan beside the study file, and let warehouse and pages tell it, if there are any.

    Raises Unusable without a plan or a reason.
    """
    freezing.what_to_freeze(load_study(study_path), why)  # before a depot is begun
    with at_work(study_path, depot_root, by) as bench:
        frozen = freezing.freeze_plan(bench.desk, why)
        if bench.desk.books.deliveries.any_taken_in():
            _what_follows(bench)
        return frozen


def _refuse_what_moves_others(bench: Bench, runner: str) -> None:
    """Raises Unusable if judging the runner's deliveries again lets a waiting change move trials and nobody said yes.

    A withdrawal is told by what it takes out, and is no yes to other trials coming into or going out of the pool.
    """
    if (moved := what_a_change_moves(bench, held_with(bench.desk, runner))) is not None:
        raise Unusable(
            "Deliveries of this runner were judged with something else than today's, and judging them again would move "
            f"trials of others as well. Nothing was done.\n{moved}\n",
            "deliveries that were made with today's study file, profiles and checks.",
            "Run manystrides run first, which tells what moves and asks; or take the change back. If this cannot wait, "
            "add --with-changes.",
            file=bench.desk.depot.root,
        )


def _what_follows(bench: Bench) -> None:
    """Carry out the graph if anything is due since the decision; else nothing is started."""
    if any_follow_up(bench.desk) or any_left(bench.desk) or not is_built(bench.desk):
        carry_out(bench)
