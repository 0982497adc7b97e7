"""Withdrawals by command. Runners and files stand here as hashes with a key that only books and register have.

That is enough to know them when they are sent again, without a list of who left; an id is known without case and outer
spaces. What is to be done for a withdrawal is in ``pipelines.depot.books.jobs``; how a runner is taken out in
``pipelines.taking_in.withdrawing``.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.asking import in_portions
from pipelines.depot.books.rows import Job, Listed, Withdrawal
from pipelines.depot.books.withdrawal_tables import RENEWALS, WITHDRAWAL_JOBS, WITHDRAWALS, WITHDRAWN_FILES
from schemas.consent_history import VOIDED, WITHDRAWN, spelled, taken_out
from schemas.privacy import EVERY_SCOPE
from schemas.received import ConsentEvent

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


_NOT_DONE = WITHDRAWAL_JOBS.alias("not_done")
#: Of a renewal: something is left to do for its withdrawal.
_RENEWED_TOO_EARLY = (
    sa.exists()
    .where(_NOT_DONE.c.tombstone == RENEWALS.c.tombstone, _NOT_DONE.c.ended_utc.is_(None))
    .correlate(RENEWALS)
)


@dataclass(frozen=True)
class Removed:
    """Scopes that runners have withdrawn, asked by id where no books are at hand. by_word: keyed hash -> scopes."""

    key: str
    by_word: Mapping[str, set[str]]

    def __call__(self, runner: str) -> set[str]:
        """What the runner has withdrawn, of which bytes are no longer kept."""
        return set().union(*(self.by_word.get(word, set()) for word in _words(self.key, runner)))


class Withdrawals:
    """Reads and writes what runners have withdrawn by command."""

    def __init__(self, books: Books) -> None:
        self._books = books
        self._key: str | None = None

    def word(self, text: str) -> str:
        """A keyed hash of a runner's id or a file's checksum."""
        if self._key is None:
            self._key = self._books.key()
        return _word(self._key, text)

    def word_of_name(self, name: str) -> str:
        """A keyed hash of a name in the inbox."""
        return self.word(f"name {name}")

    def forget_key(self) -> None:
        """Ask the books for the key again."""
        self._key = None

    def scopes(self, runner: str) -> set[str]:
        """What the runner has withdrawn by command and not given anew; may hold "all"."""
        return {scope for scope, day, _ in self._told(runner) if day is None}

    def removed(self, utc: str) -> Removed:
        """What is withdrawn and of which bytes are no longer kept: the time of grace has ended. utc: now."""
        w, j, r = WITHDRAWALS.c, WITHDRAWAL_JOBS.c, RENEWALS.c
        waiting = sa.exists().where(j.tombstone == w.tombstone, j.due_utc > utc)
        renewed = sa.exists().where(r.tombstone == w.tombstone, sa.not_(_RENEWED_TOO_EARLY))
        found: dict[str, set[str]] = {}
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(w.runner, w.scope).where(sa.not_(waiting), sa.not_(renewed)))
            for runner, scope in rows:
                found.setdefault(str(runner), set()).add(str(scope))
        return Removed(self._books.key(), found)

    def any(self) -> bool:
        """Whether anybody ever withdrew by command."""
        with self._books.reading() as connection:
            return connection.scalar(sa.select(sa.exists(sa.select(WITHDRAWALS.c.tombstone)))) is True

    def events(self, runners: Iterable[str]) -> list[ConsentEvent]:
        """The withdrawals of these runners as events: they count on every day, or void what was given before a day.

        One whose days of grace are over is told once more, with the moment by which bytes are to be gone.
        """
        if not self.any():
            return []
        now = datetime.now(UTC).isoformat(timespec="seconds")
        found: list[ConsentEvent] = []
        for runner in runners:
            for scope, day, due in sorted(self._told(runner), key=repr):
                what = None if scope == EVERY_SCOPE else scope
                found.append((runner, what, WITHDRAWN if day is None else VOIDED, day))
                if day is None and due is not None and due <= now:
                    found.append((runner, what, taken_out(due), None))
        return found

    def files_taken_out(self, shas: Iterable[str]) -> set[str]:
        """Those of the files with these checksums that were taken out when their runner withdrew."""
        words = {self.word(sha): sha for sha in shas}
        return {words[word] for word in self.known(words)}

    def remember(self, runner: str, scope: str, shas: Iterable[str]) -> tuple[Withdrawal, bool]:
        """Note a withdrawal with files of these checksums. Returns it, and whether it is new. In a transaction."""
        withdrawal = self.as_noted(runner, scope, shas)
        return withdrawal, self.put(withdrawal)

    def put(self, withdrawal: Withdrawal) -> bool:
        """Write a withdrawal; one that is noted already only gains files. Whether it is new. In a transaction."""
        connection, c = self._books.writer(), WITHDRAWALS.c
        own = c.tombstone == withdrawal.tombstone
        new = connection.scalar(sa.select(c.tombstone).where(own)) is None
        if new:
            row = {"tombstone": withdrawal.tombstone, "runner": withdrawal.runner, "scope": withdrawal.scope}
            connection.execute(sa.insert(WITHDRAWALS), row)
        have = set(self.files_of(withdrawal.tombstone))
        if more := sorted(set(withdrawal.files) - have):
            rows = [{"tombstone": withdrawal.tombstone, "file": file} for file in more]
            connection.execute(sa.insert(WITHDRAWN_FILES), rows)
        self._books.gates.know_anew(self.runners_of(withdrawal.runner))
        return new

    def as_noted(self, runner: str, scope: str, shas: Iterable[str]) -> Withdrawal:
        """A withdrawal as it stands or would stand in the books, with files of these checksums."""
        c = WITHDRAWALS.c
        with self._books.reading() as connection:
            query = sa.select(c.tombstone, c.runner).where(c.runner.in_(self._words(runner)), c.scope == scope)
            known = connection.execute(query).first()
        tombstone, word = (known[0], known[1]) if known else (secrets.token_hex(8), self.word(spelled(runner)))
        files = {self.word(sha) for sha in shas} | set(self.files_of(tombstone))
        return Withdrawal(tombstone, word, scope, tuple(sorted(files)))

    def files_of(self, tombstone: str) -> tuple[str, ...]:
        """The files of one withdrawal, as keyed hashes."""
        c = WITHDRAWN_FILES.c
        with self._books.reading() as connection:
            return tuple(connection.scalars(sa.select(c.file).where(c.tombstone == tombstone).order_by(c.file)))

    def drop(self, tombstone: str) -> None:
        """Take a withdrawal back; in a transaction."""
        connection, c = self._books.writer(), WITHDRAWALS.c
        word = connection.scalar(sa.select(c.runner).where(c.tombstone == tombstone))
        connection.execute(sa.delete(WITHDRAWALS).where(c.tombstone == tombstone))
        self._books.gates.know_anew(self.runners_of(str(word)))

    def renew(self, tombstone: str, from_day: int, form_version: str) -> None:
        """Note that consent was given anew; in a transaction."""
        connection, c = self._books.writer(), RENEWALS.c
        connection.execute(sa.delete(RENEWALS).where(c.tombstone == tombstone))
        row = {"tombstone": tombstone, "from_day": from_day, "form_version": form_version}
        connection.execute(sa.insert(RENEWALS), row)
        word = connection.scalar(sa.select(WITHDRAWALS.c.runner).where(WITHDRAWALS.c.tombstone == tombstone))
        self._books.gates.know_anew(self.runners_of(str(word)))

    def end_renewal(self, tombstone: str) -> None:
        """Let a withdrawal count again; in a transaction."""
        self._books.writer().execute(sa.delete(RENEWALS).where(RENEWALS.c.tombstone == tombstone))

    def is_renewed(self, tombstone: str) -> bool:
        """Whether consent was given anew since."""
        with self._books.reading() as connection:
            found = sa.exists().where(RENEWALS.c.tombstone == tombstone)
            return connection.scalar(sa.select(found)) is True

    def know_renewed(self, job: Job) -> None:
        """Let consent that was given anew count, now that what was withdrawn is gone; in a transaction."""
        if self.is_renewed(job.tombstone):
            self._books.gates.know_anew(self.runners_of(job.runner))

    def runners_of(self, word: str) -> set[str]:
        """Ids that deliveries name, of the runner with this keyed hash, in every spelling."""
        return {id_ for id_ in self._books.gates.every_runner() if word in self._words(id_)}

    def listed(self) -> Iterator[Listed]:
        """Every withdrawal as the register lists it."""
        w, j, r = WITHDRAWALS.c, WITHDRAWAL_JOBS.c, RENEWALS.c
        query = (
            sa.select(w.tombstone, w.runner, w.scope, j.asked_utc, j.due_utc, r.from_day)
            .outerjoin(WITHDRAWAL_JOBS, j.tombstone == w.tombstone)
            .outerjoin(RENEWALS, r.tombstone == w.tombstone)
        )
        with self._books.reading() as connection:
            rows = connection.execute(query.order_by(w.tombstone)).all()
        for tombstone, runner, scope, asked, due, day in rows:
            yield Listed(tombstone, runner, scope, self.files_of(tombstone), asked or "", due or "", day)

    def is_as(self, listed: Listed) -> bool:
        """Whether the books hold a withdrawal as the register lists it, or as it was before it was renewed."""
        own = next((one for one in self.listed() if one.tombstone == listed.tombstone), None)
        if own is None or (own.runner, own.scope) != (listed.runner, listed.scope):
            return False
        return own.renewed_from in (None, listed.renewed_from)

    def known(self, words: Iterable[str]) -> set[str]:
        """Those of these keyed hashes that are of files which were taken out."""
        c = WITHDRAWN_FILES.c
        with self._books.reading() as connection:
            return {
                str(word)
                for portion in in_portions(words)
                for word in connection.scalars(sa.select(c.file).where(c.file.in_(portion)).distinct())
            }

    def _told(self, runner: str) -> set[tuple[str, int | None, str | None]]:
        """Scope, the study day from which consent counts again if given anew, and when its bytes are to be gone.

        As long as they are not gone nothing counts again, though an earlier version let it be noted.
        """
        w, r, j = WITHDRAWALS.c, RENEWALS.c, WITHDRAWAL_JOBS.c
        query = (
            sa.select(w.scope, r.from_day, j.due_utc)
            .select_from(WITHDRAWALS)
            .outerjoin(RENEWALS, sa.and_(r.tombstone == w.tombstone, sa.not_(_RENEWED_TOO_EARLY)))
            .outerjoin(WITHDRAWAL_JOBS, j.tombstone == w.tombstone)
        )
        with self._books.reading() as connection:
            rows = connection.execute(query.where(w.runner.in_(self._words(runner))))
            return {(str(scope), None if day is None else int(day), due) for scope, day, due in rows}

    def _words(self, runner: str) -> tuple[str, ...]:
        return _words(self._key or self._books.key(), runner)


def _word(key: str, text: str) -> str:
    return hmac.new(bytes.fromhex(key), text.encode(), hashlib.sha256).hexdigest()


def _words(key: str, runner: str) -> tuple[str, ...]:
    """Keyed hashes of an id: as noted today, and as it was noted once, with its case and spaces."""
    return tuple(dict.fromkeys((_word(key, spelled(runner)), _word(key, runner))))
