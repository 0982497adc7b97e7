"""A delivery in memory: what intake found when it opened a bag, before any judgement. Checks turn it into findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from schemas.reading import Held, Identifying

if TYPE_CHECKING:
    import pandas as pd

#: Runner, scope (None: every scope), event, study day (None: every day).
ConsentEvent = tuple[str, str | None, str, int | None]

#: "beside" and "blank" are only notes: what lay beside the bag's own files, and rows of a table without any cell.
ProblemKind = Literal["archive", "bag", "beside", "bag_info", "descriptor", "table", "blank", "column", "cell", "key"]


@dataclass(frozen=True)
class PayloadFile:
    """One file of the payload. path: relative to the payload folder, forward slashes."""

    path: str
    bytes: int
    sha256: str


#: How what to do begins where nothing is asked of the laboratory.
NOTHING_TO_SEND = "Nothing has to be sent"


@dataclass(frozen=True)
class Problem:
    """Something intake could not take as it was. ``seen`` and ``expected`` are plain sentences without full stop.

    The ids name the rows it touches, so that a wrong cell of a runner reaches all the runner's trials. row: where in its
    table the row is that it was met in, counted from 0; None if it is not about one row. mend: what to do about it, a
    sentence without full stop, where that is not what the check says anyway.
    """

    kind: ProblemKind
    seen: str
    expected: str
    file: str | None = None
    place: str | None = None
    participant_id: str | None = None
    session_id: str | None = None
    trial_id: str | None = None
    row: int | None = None
    mend: str | None = None


@dataclass(frozen=True)
class Changed:
    """A trial that stands accepted from an earlier delivery and is sent again. parts: what of it is not the same."""

    trial_id: str
    accepted_with: str
    parts: tuple[str, ...]


@dataclass(frozen=True)
class ToldLater:
    """What later deliveries say of a session or runner otherwise. table: delivery table; key: the session or runner.

    word: changes with what they say; values: column and value of what counts of their rows (``schemas.told_later``);
    delivery_id: the last of them.
    """

    table: str
    key: str
    word: str
    values: tuple[tuple[str, Any], ...]
    delivery_id: str


@dataclass(frozen=True)
class Received:
    """One delivery as it came. tables: delivery table name -> data frame with the columns of its definition.

    Rows with a problem cell stay in their table (the cell is null), so that nothing is lost before it is judged.
    """

    arrived_as: str
    inbox_site: str
    site: str | None
    number: int | None
    bag_info: dict[str, str]
    files: tuple[PayloadFile, ...]
    tables: dict[str, pd.DataFrame]
    problems: tuple[Problem, ...] = ()
    fingerprint: str = ""
    known_trials: dict[str, str] = field(default_factory=dict)  # trial id -> delivery that brought it earlier
    changed_trials: tuple[Changed, ...] = ()  # trials that were accepted earlier and came again with other content
    told_later: tuple[ToldLater, ...] = ()  # its sessions and runners of which a later delivery says something else
    other_consents: tuple[ConsentEvent, ...] = ()  # of the same runners, from other deliveries and withdrawals
    torn_consents: tuple[ConsentEvent, ...] = ()  # of whom lines of consents.csv name that are no rows of a table
    near_consents: tuple[ConsentEvent, ...] = ()  # told under codes that are nobody's and nearly those of these runners
    shut_rows: Mapping[str, frozenset[str]] = field(
        default_factory=dict
    )  # table -> sessions whose rows were taken out once
    shut_trials: dict[str, str] = field(default_factory=dict)  # trial id -> why it is withheld whatever the tables say
    identifying: tuple[Identifying, ...] = ()  # where its texts may identify a person; the texts are taken out
    held: tuple[Held, ...] = ()  # texts of its tables and names of its files that a person must look at first
    unlooked: frozenset[str] = frozenset()  # codes with a word that a person must look at first: their rows wait
    unfit: Mapping[str, frozenset[str]] = field(default_factory=dict, repr=False)  # table or descriptor -> such texts

    @property
    def paths(self) -> frozenset[str]:
        """Paths of all payload files."""
        return frozenset(f.path for f in self.files)


def plain_rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a table as dictionaries, with None for every missing value."""
    names = [str(name) for name in frame.columns]
    columns = [plain_column(cells) for _, cells in frame.items()]
    return [dict(zip(names, values, strict=True)) for values in zip(*columns, strict=True)]


def plain_column(cells: pd.Series) -> list[Any]:
    """The cells of one column as plain values, with None for every missing one."""
    return [None if missing else cell for cell, missing in zip(cells.tolist(), cells.isna().tolist(), strict=True)]
