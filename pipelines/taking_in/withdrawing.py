"""Carries out the withdrawals that the books know and that are not done, whoever asked for them, whatever came between.

Every writing command does so first. At once each delivery of the runner is judged again, so that the runner is
withheld; once the time of grace is over (without one: at once, too) rows and files go for good, warehouse and pages are
built, and everything live is searched for the runner's id. Each step finds what is left of it, so a kill at any moment
only leaves more for the next command. How a withdrawal is asked for is in ``pipelines.deciding.withdrawal``; what is
taken out of a bag in ``pipelines.consent.redaction``.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot.books.rows import Entry, Job, Record
from pipelines.depot.consents import WHOLE_TRIAL, changed
from pipelines.depot.desk import Desk
from pipelines.depot.overrides import forget_gone
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot
from pipelines.depot.upgrade import ASIDE
from pipelines.taking_in.building import build, is_built
from pipelines.taking_in.due import until_none
from pipelines.taking_in.noting import again
from schemas.privacy import EVERY_SCOPE

CARRIED_OUT = "withdrawal_carried_out"
_WHY = "A runner withdrew."


@dataclass(frozen=True)
class CarriedOut:
    """What was done for one withdrawal. found: live files with the runner's id; waits_until: end of the time of grace.

    files_removed: of the raw store and the closed folder.
    """

    job: Job
    deliveries: tuple[str, ...]
    files_removed: int
    superseded: tuple[Entry, ...]
    waits_until: str = ""
    searched: int = 0
    found: tuple[Path, ...] = ()

    def lines(self) -> Iterator[str]:
        """The outcome, for people; the runner is not named."""
        judged = ", ".join(self.deliveries) or "no delivery, nothing of it was here any more"
        if self.waits_until:
            yield f"Withheld from now on; judged again: {judged}."
            yield f"Files are removed by the first command after {self.waits_until}; until then --take-back undoes it."
        else:
            yield f"Judged again without it: {judged}."
            yield f"Files removed: {self.files_removed}. The same files, if sent again, are withheld."
            if self.job.scope == EVERY_SCOPE:
                found = len(self.found)
                yield f"The runner's id was searched for in {self.searched} live files and found in {found}."
                yield from (f"  STILL IN {path}" for path in self.found)
        if self.superseded:
            names = ", ".join(entry.name for entry in self.superseded)
            yield f"Listed as superseded: {names}. Freeze a new release; delete old copies as the consent says."
        yield "Not touched: the inbox, backups and copies made outside the depot. Remove the runner there, too."

    def told(self) -> str:
        """One line for a command that was asked for something else."""
        asked = (
            f"A withdrawal asked for at {self.job.asked_utc[:16]} ({self.job.scope}, tombstone {self.job.tombstone})"
        )
        if self.waits_until:
            return f"{asked} waits until {self.waits_until}; the runner is withheld."
        still = f", and the runner's id is STILL IN {len(self.found)} files" if self.found else ""
        return f"{asked} was not finished and is carried out now: {self.files_removed} files removed{still}."


def carry_out(desk: Desk, *, leave_history: bool = False) -> list[CarriedOut]:
    """Go on with every withdrawal that is not done; what was done for each.

    leave_history: Dagster is running, whose history cannot be removed under it; what concerns a whole runner is then
    left for the next command that is not Dagster's.
    """
    jobs = desk.books.jobs.open()
    if not jobs:
        return []
    now = datetime.now(UTC).isoformat(timespec="seconds")
    done = [_judge_and_remove(desk, job, now) for job in jobs]
    if any(one.deliveries for one in done) or not is_built(desk):
        build(desk, lambda text: None)
    return [one if one.waits_until else _end(desk, one, now, leave_history) for one in done]


def due_for(desk: Desk, runners: Iterable[str], scope: str) -> list[Record]:
    """Deliveries the depot holds that name one of these ids or hold trials of it, as far as the scope concerns them."""
    gates, names = desk.books.gates, set[str]()
    for runner in runners:
        if scope in (EVERY_SCOPE, "pooling"):
            names |= set(gates.naming(runner))
        if scope in WHOLE_TRIAL:
            names |= set(gates.with_trials_of(runner))
    records = [desk.books.deliveries.get(name) for name in sorted(names)]
    return [record for record in records if record is not None and record.held]


def _judge_and_remove(desk: Desk, job: Job, now: str) -> CarriedOut:
    depot, judged = desk.depot, []
    for record in until_none(lambda: changed(desk)):
        again(desk, record, _WHY, lambda done, of: None)
        judged.append(record.delivery_id)
    waits = job.due_utc > now
    if not waits:
        for record in due_for(desk, _spellings(desk, job), job.scope):
            if record.delivery_id not in judged:
                again(desk, record, _WHY, lambda done, of: None)
                judged.append(record.delivery_id)
        forget_gone(depot.books)
    removed = 0 if waits else _remove_files(depot, set(desk.books.withdrawals.files_of(job.tombstone)))
    with depot.books.transaction():
        why = "A runner withdrew data that it holds or may hold."
        older = depot.books.releases.supersede_all(now, why) if _is_first(desk, job) else []
    if not waits:
        depot.books.forget_for_good()
        depot.store.remove(ASIDE)  # what an upgrade left names runners
    return CarriedOut(job, tuple(judged), removed, tuple(older), job.due_utc if waits else "")


def _is_first(desk: Desk, job: Job) -> bool:
    """Whether releases that still count were frozen before the withdrawal was asked for."""
    return any(not entry.superseded_utc and entry.utc <= job.asked_utc for entry in desk.books.releases.all())


def _end(desk: Desk, done: CarriedOut, now: str, leave_history: bool) -> CarriedOut:
    depot, job = desk.depot, done.job
    whole = job.scope == EVERY_SCOPE
    if whole and not leave_history:
        shutil.rmtree(depot.dagster_home, ignore_errors=True)  # its history shows rows of tables
    names = sorted({name.strip() for name in _spellings(desk, job)})
    searched, found = files_with(depot, names) if whole and names else (0, [])
    if whole and leave_history and depot.dagster_home.exists():
        return done
    with depot.books.transaction():
        depot.books.jobs.end(job.tombstone, now)
        told = "The runner's data are gone." if not found else "The runner's id is still somewhere."
        details = {"scope": job.scope, "files_removed": done.files_removed, "still_in": len(found)}
        desk.ledger.write(CARRIED_OUT, f"tombstone-{job.tombstone}", told, **details)
    depot.books.forget_for_good()
    return CarriedOut(job, done.deliveries, done.files_removed, done.superseded, searched=searched, found=tuple(found))


def _spellings(desk: Desk, job: Job) -> set[str]:
    return set(job.participants) | desk.books.withdrawals.runners_of(job.runner)


def _remove_files(depot: Depot, files: set[str]) -> int:
    """Remove the runner's files, and tables as they were with the runner, wherever no delivery holds them any more."""
    if not files:
        return 0
    word, held = depot.books.withdrawals.word, depot.books.deliveries.shas_held()
    stored = {key: key.rpartition("/")[2] for folder in (keys.RAW, keys.CLOSED) for key in depot.store.below(folder)}
    out = [key for key, sha in stored.items() if sha not in held and word(sha) in files]
    for key in out:
        depot.store.remove(key)
    return len(out)
