"""One run without a daemon: the books are asked first, and if something is due the graph is carried out in process.

Dagster is imported only then, so that nothing new costs nothing. It keeps no history of such runs: what was done the
books know.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

from pipelines.depot.arrivals import Names, find_arrivals
from pipelines.depot.ledger import whoami
from pipelines.depot.storage import Depot
from pipelines.errors import Unusable
from pipelines.handing_over.telling import tell
from pipelines.identity.word_list import names_shown
from pipelines.pool.readied import Readied
from pipelines.progress import Progress
from pipelines.study.drafts import told as drafts_told
from pipelines.study.file import load_study
from pipelines.taking_in.batch import Bench
from pipelines.taking_in.building import is_built, silent_today
from pipelines.taking_in.due import arrivals_due, refuse_missing, refuse_other_folder, what_is_due
from pipelines.taking_in.keeping import shut_bytes
from pipelines.taking_in.opening import open_desk
from pipelines.taking_in.plan import plan as plan_of
from pipelines.taking_in.summary import Summary
from pipelines.taking_in.withdrawing import any_left, waiting


def run(
    study_path: Path,
    inbox: Path,
    depot_root: Path | str,
    actor: str | None = None,
    progress: Progress | None = None,
    workers: int | None = None,
    *,
    yes: bool = False,
    rebuild: bool = False,
    settle_s: float = 0.0,
) -> Summary:
    """Take in what is new, judge again what is due, and build warehouse and pages if anything changed.

    yes: publish although judging again would move many trials into or out of the pool. rebuild: make warehouse and
    pages anew from the results of all deliveries, whether anything is due or not. settle_s: as of ``Bench``.
    Raises Unusable if the study file, the inbox or the depot cannot be used, or if another run is writing there.
    """
    refuse_missing(inbox)
    refuse_other_folder(inbox, lambda: load_study(study_path).every_site)
    place = study_path, depot_root, actor, inbox, progress, workers
    with at_work(*place, yes=yes, rebuild=rebuild, settle_s=settle_s) as bench:
        due = what_is_due(bench.desk, inbox)
        if due:
            bench.desk.isolated.begin()  # while Dagster is imported
        if rebuild or due or not is_built(bench.desk):
            carry_out(bench)
        else:
            bench.summary.not_deliveries = arrivals_due(bench.desk, inbox)[1]
            bench.summary.not_told = tell(bench.desk)
            bench.summary.silent = silent_today(bench.desk)
    return bench.summary


def plan(
    study_path: Path,
    inbox: Path,
    depot_root: Path | str,
    actor: str | None = None,
    progress: Progress | None = None,
    workers: int | None = None,
) -> str:
    """What ``run`` would do, for people; nothing is published. Raises Unusable as ``run`` does."""
    study = load_study(study_path)
    refuse_missing(inbox)
    refuse_other_folder(inbox, lambda: study.every_site)
    depot = Depot(depot_root)
    if not depot.exists:
        names = Names(names_shown(study.path, study.study), lambda _: secrets.token_hex())  # no books, so no key yet
        arrivals, _ = find_arrivals(inbox, names)
        return "\n".join(
            [
                *drafts_told(study.drafts),
                "There is no depot yet. New in the inbox, would be taken in",
                *(f"  {a.key}" for a in arrivals),
            ]
        )
    with at_work(study_path, depot_root, actor, inbox, progress, workers) as bench:
        return "\n".join([*bench.summary.finished, plan_of(bench, inbox)])


@contextmanager
def at_work(
    study_path: Path,
    depot_root: Path | str,
    actor: str | None = None,
    inbox: Path | None = None,
    progress: Progress | None = None,
    workers: int | None = None,
    *,
    yes: bool = False,
    rebuild: bool = False,
    wait_s: float = 0.0,
    by_dagster: bool = False,
    settle_s: float = 0.0,
) -> Iterator[Bench]:
    """A bench at which this process is the depot's only writer; what a kill left is finished first.

    inbox: None if only what follows from a decision is to be done. yes, settle_s: as of ``Bench``. wait_s: how long
    to wait for another writer's end.
    by_dagster: its daemon carries the graph out, and asks for a withdrawal that is not done by itself. Raises Unusable
    as ``run`` does.
    """
    study, depot, actor = load_study(study_path), Depot(depot_root), actor or whoami()
    with (
        _leaving_nothing(depot),
        depot.writing(actor, wait_s),
        open_desk(depot, study, actor, workers) as desk,
        Readied(depot) as readied,
    ):
        desk.books.bind(study.study.known_by)
        shut_bytes(depot)
        bench = Bench(
            desk,
            inbox,
            progress or Progress(),
            Summary(depot),
            yes,
            rebuild,
            keeps_history=by_dagster,
            readied=readied,
            settle_s=settle_s,
        )
        yield bench if by_dagster else _recovered(bench)


@contextmanager
def _leaving_nothing(depot: Depot) -> Iterator[None]:
    """Round all that is done with a depot: one that cannot be begun leaves no folder. Raises Unusable for a file."""
    new = not depot.root.exists()
    if not new and not depot.root.is_dir():
        raise Unusable("It is a file.", "the folder of a depot, or a new name.", "Correct --depot.", file=depot.root)
    try:
        yield
    except Unusable:
        if new and not depot.exists:
            with suppress(OSError):  # whatever else lies there is not ours
                depot.lock_file.unlink(missing_ok=True)
                depot.root.rmdir()
        raise


def _recovered(bench: Bench) -> Bench:
    """The bench after withdrawals that an earlier command left were gone on with: nothing may stand in their way."""
    desk, first = bench.desk, Summary(bench.desk.depot)
    if any_left(desk):
        carry_out(Bench(desk, None, bench.progress, first, bench.yes))
    told = [*drafts_told(desk.study.drafts), *(one.told() for one in first.withdrawals or waiting(desk))]
    if first.left_for_a_yes:
        told.append("What is left of it would let a change of code or settings count, and waits for a yes to that.")
    left = tuple(one.job.tombstone for one in first.withdrawals if not (one.ended or one.waits_until))
    return replace(bench, summary=Summary(desk.depot, failures=first.failures, finished=tuple(told), unfinished=left))


def carry_out(bench: Bench, freeze: Mapping[str, str | bool] | None = None) -> None:
    """Carry out the graph for all that is due. freeze: as its asset asks, if a release is to be frozen as well."""
    from pipelines.assets.in_process import carry_out as in_process

    in_process(bench, freeze)
