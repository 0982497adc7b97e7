"""Who looked at which caution of a change-over and who followed it up; what a caution says never stands here.

A caution is known again by a hash with the key that only the books have. One whose numbers have changed since, as when
the weekly log is sent again, is another caution: nobody has looked at it yet.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.asking import in_portions
from pipelines.depot.books.rows import Followed
from pipelines.depot.books.tables_followed import CAUTIONS_FOLLOWED

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

#: Runner, week, kind of caution, and what was seen.
Key = tuple[str, int, str, str]


class FollowUps:
    """Reads and writes what was done about cautions."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def of(self, cautions: Iterable[Key]) -> dict[Key, Followed]:
        """What was done about each of these cautions, of those at which somebody has looked."""
        words = {self._word(key): key for key in cautions}
        found: dict[Key, Followed] = {}
        with self._books.reading() as connection:
            for portion in in_portions(words):
                query = sa.select(CAUTIONS_FOLLOWED).where(CAUTIONS_FOLLOWED.c.word.in_(portion))
                for row in connection.execute(query).mappings():
                    done = {name: row[name] for name in Followed.__dataclass_fields__}
                    found[words[row["word"]]] = Followed(**done)
        return found

    def put(self, key: Key, followed: Followed) -> None:
        """Write what was done about a caution in place of what was written; in a transaction."""
        connection, word = self._books.writer(), self._word(key)
        connection.execute(sa.delete(CAUTIONS_FOLLOWED).where(CAUTIONS_FOLLOWED.c.word == word))
        row = {"word": word, "runner": self._runner(key[0]), **vars(followed)}
        connection.execute(sa.insert(CAUTIONS_FOLLOWED), row)

    def forget(self, runners: Iterable[str]) -> None:
        """Remove all of runners who withdrew; in a transaction."""
        c = CAUTIONS_FOLLOWED.c
        words = [self._runner(runner) for runner in runners]
        self._books.writer().execute(sa.delete(CAUTIONS_FOLLOWED).where(c.runner.in_(words)))

    def all_words(self) -> list[tuple[str, ...]]:
        """Everything that stands here, in a fixed order: to know whether a page was made with it."""
        with self._books.reading() as connection:
            query = sa.select(CAUTIONS_FOLLOWED).order_by(CAUTIONS_FOLLOWED.c.word)
            return [tuple(map(str, row)) for row in connection.execute(query)]

    def _word(self, key: Key) -> str:
        runner, week, caution, seen = key
        return self._books.withdrawals.word(f"caution {runner.strip()}\n{week}\n{caution}\n{seen}")

    def _runner(self, runner: str) -> str:
        return self._books.withdrawals.word(f"caution of {runner.strip()}")
