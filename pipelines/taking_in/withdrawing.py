"""What a withdrawal that the books know still asks for beyond judging: files removed, its runner searched for, its end.

Steps of the graph that every run carries out (``pipelines.assets``): deliveries are judged again as for any other
change of consent; once the time of grace is over, files that none holds any more go for good; after warehouse and pages
were built, everything live is searched for the runner's id and the job ends. Each step finds what is left of it, so a
kill at any moment only leaves more for the next command. How a withdrawal is asked for is in
``pipelines.deciding.withdrawal``; what is taken out of a bag in ``pipelines.consent.redaction``.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from pipelines.depot import keys
from pipelines.depot.books.rows import Entry, Job
from pipelines.depot.consents import WHOLE_TRIAL, changed
from pipelines.depot.desk import Desk
from pipelines.depot.overrides import forget_gone
from pipelines.depot.search_bytes import Sought, files_with
from pipelines.depot.storage import Depot
from schemas.privacy import EVERY_SCOPE

CARRIED_OUT = "withdrawal_carried_out"
SHORT_ID = (
    " It is so short, or a number, that texts hold it by chance: it was looked for as a whole code of a runner, and at "
    "the beginning of codes of sessions and trials."
)


@dataclass(frozen=True)
class CarriedOut:
    """What was done for one withdrawal. waits_until: end of the time of grace; ended: whether all is done.

    deliveries: judged again for it; files_removed: of the raw store and the closed folder. found: files with the
    runner's id, those kept apart among them; recordings: how many of the runner's are here still. short_id: the id was
    looked for among codes alone.
    """

    job: Job
    deliveries: tuple[str, ...] = ()
    files_removed: int = 0
    superseded: tuple[Entry, ...] = ()
    waits_until: str = ""
    searched: int = 0
    found: tuple[Path, ...] = ()
    recordings: int = 0
    short_id: bool = False
    ended: bool = False

    def lines(self) -> Iterator[str]:
        """The outcome, for people; the runner is not named."""
        judged = ", ".join(self.deliveries) or "no delivery, nothing of it was here any more"
        if self.waits_until:
            yield f"Withheld from now on; judged again: {judged}."
            yield f"Files are removed by the first command after {self.waits_until}; until then --take-back undoes it."
        else:
            yield f"Judged again without it: {judged}."
            yield f"{self._removed().capitalize()}. The same files, if sent again, are withheld."
            if self.searched:
                found = len(self.found)
                how = SHORT_ID if self.short_id else ""
                yield f"The runner's id was searched for in {self.searched} files and found in {found}.{how}"
                yield from (f"  STILL IN {path}" for path in self.found)
            if self.recordings:
                yield f"Recordings that were to be removed and are STILL HERE: {self.recordings}."
            if not self.ended:
                yield "NOT FINISHED: something of it could not be done just now; the next command goes on with it."
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
        if not self.ended:
            still = f" The runner's id is STILL IN {len(self.found)} files." if self.found else ""
            here = f" STILL HERE are {self.recordings} recordings of the runner." if self.recordings else ""
            return f"{asked} is NOT FINISHED still; the next command goes on with it.{still}{here}"
        return f"{asked} was not finished and is carried out now: {self._removed()}."

    def _removed(self) -> str:
        """What went just now; what was kept apart, or a command before removed, went with its results."""
        if not self.files_removed:
            return "no file of the runner was left to remove; any kept apart went when deliveries were judged again"
        return (
            f"{self.files_removed} files removed, beside any kept apart, which went when deliveries were judged again"
        )


def any_left(desk: Desk) -> bool:
    """Whether there is something to do for a withdrawal: its time of grace is over, or a delivery is to be judged."""
    jobs = desk.books.jobs.open()
    return any(job.due_utc <= now() for job in jobs) or bool(jobs and changed(desk))


def waiting(desk: Desk) -> list[CarriedOut]:
    """Withdrawals in their time of grace."""
    return [CarriedOut(job, waits_until=job.due_utc) for job in desk.books.jobs.open() if job.due_utc > now()]


def begin(desk: Desk) -> None:
    """Let the deliveries be due of runners whose time of grace is over: what is known of them has changed with that."""
    for job in desk.books.jobs.open():
        if job.due_utc <= now():
            with desk.books.transaction():
                desk.books.jobs.know_anew(job)


def take_files_out(desk: Desk, judged: Sequence[str]) -> list[CarriedOut]:
    """Remove the files of runners whose time of grace is over, wherever no delivery holds them any more.

    judged: deliveries that were judged again since consent changed. Releases of before are marked as superseded.
    """
    from pipelines.depot.upgrade import ASIDE

    jobs, depot = desk.books.jobs.open(), desk.depot
    if not jobs:
        return []
    done = [_files_of_one(desk, job, judged) for job in jobs]
    if not all(one.waits_until for one in done):
        depot.books.forget_for_good()
        depot.store.remove(ASIDE)  # what an upgrade left names runners
    return done


def _files_of_one(desk: Desk, job: Job, judged: Sequence[str]) -> CarriedOut:
    depot, today = desk.depot, now()
    waits = job.due_utc > today
    if not waits:
        forget_gone(depot.books)
        with depot.books.transaction():
            depot.books.follow_ups.forget(_spellings(desk, job))
    removed = 0 if waits else _remove_files(depot, set(desk.books.withdrawals.files_of(job.tombstone)))
    with depot.books.transaction():
        why = "A runner withdrew data that it holds or may hold."
        older = depot.books.releases.supersede_all(today, why) if _is_first(desk, job) else []
    return CarriedOut(job, tuple(judged), removed, tuple(older), job.due_utc if waits else "")


def _is_first(desk: Desk, job: Job) -> bool:
    """Whether releases that still count were frozen before the withdrawal was asked for."""
    return any(not entry.superseded_utc and entry.utc <= job.asked_utc for entry in desk.books.releases.all())


def end(desk: Desk, done: Sequence[CarriedOut], *, keeps_history: bool = False) -> list[CarriedOut]:
    """Search everything for the ids of the runners, and end the withdrawals of which nothing is left to do.

    One of which something is found stays open: whoever asked is told, and each further command tries again.

    keeps_history: Dagster is running, whose history cannot be removed under it; what concerns a whole runner is then
    left for the next command that is not Dagster's.
    """
    return [one if one.waits_until else _end(desk, one, keeps_history) for one in done]


def _end(desk: Desk, done: CarriedOut, keeps_history: bool) -> CarriedOut:
    depot, job = desk.depot, done.job
    spellings = _spellings(desk, job)
    to_judge = {record.delivery_id for record in changed(desk)}
    if any(to_judge.intersection(desk.books.gates.naming(name)) for name in spellings):
        return done
    whole = job.scope == EVERY_SCOPE
    if whole and keeps_history and depot.dagster_home.exists():
        return done
    if whole:
        shutil.rmtree(depot.dagster_home, ignore_errors=True)  # its history shows rows of tables
    names = sorted({name.strip() for name in spellings})
    searched, found = files_with(depot, names, closed=True) if whole and names else (0, [])
    short = any(Sought(name).only_as_code for name in names)
    left = _recordings_left(desk, job, spellings)
    done = replace(done, searched=searched, found=tuple(found), recordings=left, short_id=short)
    if found or done.recordings:
        return done  # nobody may read that it is carried out; the next command goes on with it
    with depot.books.transaction():
        depot.books.jobs.end(job.tombstone, now())
        desk.books.withdrawals.know_renewed(job)
        details = {"scope": job.scope, "files_removed": done.files_removed, "still_in": 0}
        desk.ledger.write(CARRIED_OUT, f"tombstone-{job.tombstone}", "The runner's data are gone.", **details)
    depot.books.forget_for_good()
    return replace(done, ended=True)


def _recordings_left(desk: Desk, job: Job, spellings: set[str]) -> int:
    """How many recordings of nobody but the runner the depot still has, of those that were to be removed."""
    if job.scope not in WHOLE_TRIAL:
        return 0
    own = {sha for name in spellings for sha in desk.books.gates.files_of_trials(name)}
    return len(own & desk.books.deliveries.shas_held())


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


def now() -> str:
    """This moment, as the books write it."""
    return datetime.now(UTC).isoformat(timespec="seconds")
