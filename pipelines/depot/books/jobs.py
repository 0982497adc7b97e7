"""What is to be done for each withdrawal: asked for by whom, due when, and whether it is done.

Whichever command writes to the depot next goes on with a job that is not done; how is in ``pipelines.assets``.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.rows import Job, Listed, Withdrawal
from pipelines.depot.books.withdrawal_tables import WITHDRAWAL_JOBS, WITHDRAWALS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Jobs:
    """Reads and writes the jobs of withdrawals."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def open(self) -> list[Job]:
        """Those not done, oldest first."""
        c = WITHDRAWAL_JOBS.c
        query = sa.select(WITHDRAWAL_JOBS, WITHDRAWALS.c.runner, WITHDRAWALS.c.scope).join(
            WITHDRAWALS, WITHDRAWALS.c.tombstone == c.tombstone
        )
        with self._books.reading() as connection:
            rows = connection.execute(query.where(c.ended_utc.is_(None)).order_by(c.asked_utc, c.tombstone)).mappings()
            return [Job(**{**row, "participants": tuple(json.loads(row["participants"] or "[]"))}) for row in rows]

    def get(self, tombstone: str) -> Job | None:
        """One that is not done."""
        return next((job for job in self.open() if job.tombstone == tombstone), None)

    def put(self, job: Job) -> None:
        """Write a job in place of what it was; in a transaction, after its withdrawal."""
        connection, c = self._books.writer(), WITHDRAWAL_JOBS.c
        connection.execute(sa.delete(WITHDRAWAL_JOBS).where(c.tombstone == job.tombstone))
        row = {name: value for name, value in vars(job).items() if name not in ("runner", "scope")}
        connection.execute(sa.insert(WITHDRAWAL_JOBS), {**row, "participants": json.dumps(job.participants)})
        self.know_anew(job)

    def know_anew(self, job: Job) -> None:
        """Write what is known now of the job's runner, as when its days of grace have ended; in a transaction."""
        named = self._books.withdrawals.runners_of(job.runner)
        self._books.gates.know_anew({*job.participants, *named})

    def end(self, tombstone: str, utc: str) -> None:
        """Note that it is done; the runner's id is forgotten. In a transaction."""
        c = WITHDRAWAL_JOBS.c
        done = sa.update(WITHDRAWAL_JOBS).where(c.tombstone == tombstone).values(ended_utc=utc, participants="")
        self._books.writer().execute(done)

    def take_over(self, listed: Listed) -> None:
        """Note a withdrawal that only the register knows, with its job; in a transaction."""
        withdrawals = self._books.withdrawals
        names = tuple(sorted(withdrawals.runners_of(listed.runner)))
        withdrawals.put(Withdrawal(listed.tombstone, listed.runner, listed.scope, listed.files))
        self.put(
            Job(
                listed.tombstone, listed.runner, listed.scope, "", "", "", listed.asked_utc, listed.due_utc, None, names
            )
        )
