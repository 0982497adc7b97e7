"""What a data manager decided on single findings; who may decide what is in ``pipelines.depot.overrides``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pipelines.depot.books.asking import in_portions
from pipelines.depot.books.rows import Decision, Override
from pipelines.depot.books.tables import DECISION_FILES, DECISIONS

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books


class Decisions:
    """Reads and writes decisions, in the order in which they were made."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def all(self) -> tuple[Override, ...]:
        """Every decision ever made, those that were taken back, too."""
        return self._where(sa.true())

    def on_trials(self, trial_ids: Iterable[str]) -> tuple[Override, ...]:
        """Decisions on trials of these ids, of whichever laboratory and bytes."""
        return tuple(o for portion in in_portions(trial_ids) for o in self._where(DECISIONS.c.trial_id.in_(portion)))

    def put(self, override: Override) -> None:
        """Write a decision in place of what it was; in a transaction."""
        connection, c, back = self._books.writer(), DECISIONS.c, override.taken_back
        own = c.word == override.word
        number = connection.scalar(sa.select(c.number).where(own))
        if number is None:
            number = (connection.scalar(sa.select(sa.func.max(c.number))) or 0) + 1
        connection.execute(sa.delete(DECISIONS).where(own))
        row = {
            "word": override.word,
            "number": number,
            "site": override.site,
            "trial_id": override.trial_id,
            "check_name": override.check_name,
            **vars(override.decided),
            **({f"back_{name}": value for name, value in vars(back).items()} if back is not None else {}),
        }
        connection.execute(sa.insert(DECISIONS), row)
        files = [{"word": override.word, "number": n, "sha256": sha} for n, sha in enumerate(override.files)]
        if files:
            connection.execute(sa.insert(DECISION_FILES), files)

    def drop(self, word: str) -> None:
        """Remove a decision; in a transaction."""
        self._books.writer().execute(sa.delete(DECISIONS).where(DECISIONS.c.word == word))

    def _where(self, *conditions: sa.ColumnElement[bool]) -> tuple[Override, ...]:
        with self._books.reading() as connection:
            rows = connection.execute(sa.select(DECISIONS).where(*conditions).order_by(DECISIONS.c.number)).mappings()
            every = rows.all()
            files: dict[str, list[tuple[int, str]]] = {}
            for portion in in_portions(row["word"] for row in every):
                c = DECISION_FILES.c
                for word, number, sha in connection.execute(
                    sa.select(c.word, c.number, c.sha256).where(c.word.in_(portion))
                ):
                    files.setdefault(word, []).append((number, sha))
        return tuple(_override(row, tuple(sha for _, sha in sorted(files.get(row["word"], ())))) for row in every)


def _override(row: sa.RowMapping, files: tuple[str, ...]) -> Override:
    back = Decision(row["back_why"], row["back_by"], row["back_utc"]) if row["back_utc"] is not None else None
    decided = Decision(row["why"], row["by"], row["utc"])
    return Override(row["word"], row["site"], row["trial_id"], files, row["check_name"], decided, back)
