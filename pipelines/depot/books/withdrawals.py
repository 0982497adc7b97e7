"""Withdrawals by command. Runners and files stand here as hashes with a key that only the books have.

That is enough to know them when they are sent again, without a list of who left. How a runner is taken out is in
``pipelines.deciding.withdrawal``.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Iterable
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.asking import in_portions
from pipelines.depot.books.rows import Withdrawal
from pipelines.depot.books.tables import DEPOT, WITHDRAWALS, WITHDRAWN_FILES
from schemas.privacy import EVERY_SCOPE
from schemas.received import ConsentEvent

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Withdrawals:
    """Reads and writes what runners have withdrawn by command."""

    def __init__(self, books: Books) -> None:
        self._books = books
        self._key: str | None = None

    def word(self, text: str) -> str:
        """A keyed hash of a runner's id or a file's checksum."""
        if self._key is None:
            with self._books.reading() as connection:
                self._key = str(connection.scalar(sa.select(DEPOT.c.key)))
        return hmac.new(bytes.fromhex(self._key), text.encode(), hashlib.sha256).hexdigest()

    def scopes(self, runner: str) -> set[str]:
        """What the runner has withdrawn by command; may hold "all"."""
        query = sa.select(WITHDRAWALS.c.scope).where(WITHDRAWALS.c.runner == self.word(runner))
        with self._books.reading() as connection:
            return set(connection.scalars(query))

    def any(self) -> bool:
        """Whether anybody ever withdrew by command."""
        with self._books.reading() as connection:
            return connection.scalar(sa.select(sa.exists(sa.select(WITHDRAWALS.c.tombstone)))) is True

    def events(self, runners: Iterable[str]) -> list[ConsentEvent]:
        """The withdrawals of these runners as events that count on every day."""
        if not self.any():
            return []
        own = [(runner, scope) for runner in runners for scope in sorted(self.scopes(runner))]
        return [(runner, None if scope == EVERY_SCOPE else scope, "withdrawn", None) for runner, scope in own]

    def files_taken_out(self, shas: Iterable[str]) -> set[str]:
        """Those of the files with these checksums that were taken out when their runner withdrew."""
        words = {self.word(sha): sha for sha in shas}
        return {words[word] for word in self.known(words)}

    def remember(self, runner: str, scope: str, shas: Iterable[str]) -> tuple[Withdrawal, bool]:
        """Note a withdrawal; one that is noted already only gains files. Returns it, and whether it is new.

        In a transaction, before anything is removed.
        """
        connection, word = self._books.writer(), self.word(runner)
        c = WITHDRAWALS.c
        query = sa.select(c.tombstone).where(c.runner == word, c.scope == scope)
        known = connection.scalar(query)
        tombstone = known or secrets.token_hex(8)
        if known is None:
            connection.execute(sa.insert(WITHDRAWALS), {"tombstone": tombstone, "runner": word, "scope": scope})
        have = set(
            connection.scalars(sa.select(WITHDRAWN_FILES.c.file).where(WITHDRAWN_FILES.c.tombstone == tombstone))
        )
        files = {self.word(sha) for sha in shas}
        if more := sorted(files - have):
            connection.execute(sa.insert(WITHDRAWN_FILES), [{"tombstone": tombstone, "file": f} for f in more])
        self._books.gates.know_anew([runner])
        return Withdrawal(tombstone, word, scope, tuple(sorted(files | have))), known is None

    def put(self, withdrawal: Withdrawal) -> None:
        """Write a withdrawal as it stands; in a transaction."""
        connection = self._books.writer()
        row = {"tombstone": withdrawal.tombstone, "runner": withdrawal.runner, "scope": withdrawal.scope}
        connection.execute(sa.insert(WITHDRAWALS), row)
        files = [{"tombstone": withdrawal.tombstone, "file": file} for file in withdrawal.files]
        if files:
            connection.execute(sa.insert(WITHDRAWN_FILES), files)

    def known(self, words: Iterable[str]) -> set[str]:
        """Those of these keyed hashes that are of files which were taken out."""
        c = WITHDRAWN_FILES.c
        with self._books.reading() as connection:
            return {
                str(word)
                for portion in in_portions(words)
                for word in connection.scalars(sa.select(c.file).where(c.file.in_(portion)).distinct())
            }
