"""What every stage of a run needs at hand: the depot, the study in force, the ledger, an opened delivery."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from checks.findings import Stamp
from pipelines.depot.ledger import Ledger
from pipelines.depot.storage import Depot
from pipelines.study.file import LoadedStudy
from pipelines.workers.engine import Engine
from pipelines.workers.isolation import Isolated
from schemas.received import Received

if TYPE_CHECKING:
    from pipelines.depot.books.book import Books

#: Told (done, of) while trials are judged.
Tell = Callable[[int, int], None]


@dataclass(frozen=True)
class Desk:
    """Where the work is done: the depot, the study in force, the ledger, the workers, and the engine that judges.

    made: what results are made with today, one word for each laboratory of the study (``pipelines.judging.stamps``).
    shows_texts: whether texts are shown that nobody has looked at, as a laboratory's own check shows its own.
    """

    depot: Depot
    study: LoadedStudy
    stamp: Stamp
    ledger: Ledger
    isolated: Isolated
    engine: Engine
    made: frozenset[str]
    shows_texts: bool = False

    @property
    def books(self) -> Books:
        """What the depot knows."""
        return self.depot.books


@dataclass(frozen=True)
class Opened:
    """A delivery that was opened. payload: its payload folder, None if there is none that can be used."""

    received: Received
    payload: Path | None
    inbox_site: str
    name: str

    @property
    def arrival(self) -> str:
        """``site/name`` in the inbox."""
        return f"{self.inbox_site}/{self.name}"
