"""Books in which nothing was ever written, for a check at the laboratory: no database, and each answer is that of none.

They have the questions that judging one delivery asks, by the names of ``pipelines.depot.books.book``, and no others:
whatever else is asked of them is a fault of ours, and is told as one. Held against empty books of a depot by
``tests/pipelines/depot/books/test_unwritten.py``.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot.books.rows import Override, Record, RowOf, TrialVersion
from schemas.received import ConsentEvent

if TYPE_CHECKING:
    from pipelines.depot.ledger import Entry, Wanted


class _Deliveries:
    def get(self, delivery_id: str) -> Record | None:
        return None

    def same_content(self, site: str | None, fingerprint: str) -> list[Record]:
        return []

    def came(self, delivery_id: str | None) -> str | None:
        return None

    def of_arrival(self, arrival: str) -> list[Record]:
        return []


class _Trials:
    def known_before(self, site: str | None, number: int | None, arrival: str, ids: Iterable[str]) -> dict[str, str]:
        return {}

    def accepted_before(
        self, site: str | None, number: int | None, arrival: str, ids: Iterable[str]
    ) -> dict[str, TrialVersion]:
        return {}

    def ids_of_others(self, site: str | None, came: str | None, ids: Iterable[str]) -> list[TrialVersion]:
        return []

    def sessions_of_others(self, site: str | None, came: str | None, ids: Iterable[str]) -> list[TrialVersion]:
        return []

    def with_file(
        self, shas: Iterable[str], site: str | None, number: int | None, came: str | None
    ) -> list[tuple[TrialVersion, Record]]:
        return []

    def with_shapes_before(
        self, cells: Iterable[str], made: Collection[str], site: str | None, number: int | None, came: str | None
    ) -> dict[str, set[str]]:
        return {}

    def with_shapes_after(
        self, cells: Iterable[str], made: Collection[str], site: str | None, number: int | None, came: str | None
    ) -> dict[str, set[str]]:
        return {}

    def cells_of(self, delivery_id: str) -> dict[str, list[str]]:
        return {}

    def giving_posture(
        self, made: Collection[str], site: str | None, number: int | None, sessions: Iterable[str]
    ) -> list[TrialVersion]:
        return []


class _Gates:
    def told(self, runners: Iterable[str], *, but: str | None = None) -> set[ConsentEvent]:
        return set()

    def spellings(self, runners: Iterable[str]) -> set[str]:
        return set()

    def shut(self, site: str | None, number: int | None, files: Mapping[str, Iterable[str]]) -> dict[str, str]:
        return {}

    def every_runner(self) -> set[str]:
        return set()

    def with_trials(self, site: str | None = None) -> set[str]:
        return set()

    def against(self, *, but: str | None = None) -> set[str]:
        return set()


class _Withdrawals:
    def any(self) -> bool:
        return False

    def events(self, runners: Iterable[str]) -> list[ConsentEvent]:
        return []

    def files_taken_out(self, shas: Iterable[str]) -> set[str]:
        return set()


class _Leaning:
    def newest_references(
        self, made: Collection[str], site: str, delivery_id: str, sessions: Iterable[str]
    ) -> dict[str, str]:
        return {}


class _ToldRows:
    def later(
        self, made: Collection[str], site: str | None, number: int, rows: Mapping[RowOf, str]
    ) -> dict[RowOf, list[tuple[str, str]]]:
        return {}


class _Decisions:
    def on_trials(self, trial_ids: Iterable[str]) -> tuple[Override, ...]:
        return ()


class _Texts:
    def __init__(self) -> None:
        self._key = secrets.token_bytes()

    def word(self, text: str) -> str:
        """A keyed hash, with a key that nobody has after this."""
        return hmac.new(self._key, text.strip().encode(), hashlib.sha256).hexdigest()

    def decided(self, words: Iterable[str]) -> dict[str, str]:
        return {}


class _Ledger:
    def entries(self, wanted: Wanted | None = None) -> Iterator[Entry]:
        return iter(())


class Unwritten:
    """What a depot knows to which nothing came."""

    def __init__(self) -> None:
        self.deliveries = _Deliveries()
        self.trials = _Trials()
        self.gates = _Gates()
        self.withdrawals = _Withdrawals()
        self.leaning = _Leaning()
        self.told_rows = _ToldRows()
        self.decisions = _Decisions()
        self.texts = _Texts()
        self.ledger = _Ledger()

    def refuse_other_study(self, known_by: str, file: Path) -> None:
        """It is nobody's yet."""
