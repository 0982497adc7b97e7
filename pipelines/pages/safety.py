"""The page of the safety lead, in a closed folder of its own: what is new, what nobody followed up, trends by runner.

Nothing leads there and it leads nowhere. What is on it is arranged in ``change_over``; who looked and who followed up
is asked of whoever keeps that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from pipelines.pages.change_over import MOST_DRAWN, ChangeOver, read_change_over
from pipelines.pages.charts.trend import trend_chart
from pipelines.pages.charts.weeks import week_chart
from pipelines.pages.templating import page_style, templates
from pipelines.pages.typed import Typed
from pipelines.pool.query import open_read_only
from pipelines.science.change_over.cautions import WORDING, Caution

if TYPE_CHECKING:
    from pathlib import Path

    from pipelines.depot.books.rows import Followed
    from pipelines.depot.store import Store
    from pipelines.study.file import LoadedStudy

#: The page in its folder.
PAGE = "index.html"
#: Rows of each list that stand open; the others are folded away.
OPEN_ROWS = 6
#: Runner, week, kind of caution, and what was seen.
Key = tuple[str, int, str, str]
FollowUps = Callable[[Iterable[Key]], Mapping[Key, "Followed"]]


class Places(Protocol):
    """The places of a depot that matter here."""

    @property
    def root(self) -> Path:
        """The depot's own folder."""

    @property
    def safety(self) -> Store:
        """Where the page goes to: weeks of single runners, for the depot's owner to pass on."""

    @property
    def warehouse(self) -> Path:
        """DuckDB file the page is read from."""


@dataclass(frozen=True)
class Entry:
    """One caution with what was done about it. done: None if nobody has looked at it as it is now."""

    caution: Caution
    done: Followed | None

    @property
    def followed(self) -> bool:
        """Whether somebody followed it up."""
        return self.done is not None and self.done.followed_utc is not None


@dataclass(frozen=True)
class Board:
    """All cautions, each in one list: nobody looked since it came or changed; looked at; followed up."""

    new: tuple[Entry, ...]
    open: tuple[Entry, ...]
    followed: tuple[Entry, ...]

    @property
    def last_look(self) -> tuple[str, str] | None:
        """When and by whom the list was looked at last, as far as its cautions tell."""
        looks = [(e.done.looked_utc, e.done.looked_by) for e in (*self.open, *self.followed) if e.done is not None]
        return max(looks, default=None)

    def waiting(self, runner: str) -> int:
        """How many cautions of a runner nobody has followed up."""
        return sum(e.caution.participant_id == runner for e in (*self.new, *self.open))


def nobody_yet(keys: Iterable[Key]) -> Mapping[Key, Followed]:
    """What was done about cautions where nobody keeps it: nothing."""
    return {}


def key_of(caution: Caution) -> Key:
    """By what a caution is known again: with other numbers it is another one."""
    return caution.participant_id, caution.week, caution.caution, caution.seen


def board(over: ChangeOver, follow_ups: FollowUps) -> Board:
    """The cautions in the order of ``over``, by what was done about them."""
    done = follow_ups(key_of(c) for c in over.cautions)
    entries = [Entry(c, done.get(key_of(c))) for c in over.cautions]
    return Board(
        tuple(e for e in entries if e.done is None),
        tuple(e for e in entries if e.done is not None and not e.followed),
        tuple(e for e in entries if e.followed),
    )


def read_over(warehouse: Path, study: LoadedStudy) -> ChangeOver:
    """Weeks and cautions as the warehouse has them. Raises Unusable if it cannot be read."""
    with open_read_only(warehouse) as connection:
        return read_change_over(connection, study.study.processing)


def write_safety(depot: Places, study: LoadedStudy, follow_ups: FollowUps = nobody_yet) -> None:
    """Write the one page that nobody but the depot's owner may read; whatever else lies in its folder goes."""
    typed = Typed(depot.root.absolute(), study.path.absolute())
    content = page(read_over(depot.warehouse, study), study, follow_ups, typed).encode("utf-8", "replace")
    store = depot.safety
    store.shut("")
    if not store.is_object(PAGE) or store.read(PAGE) != content:
        store.put(PAGE, content, mode=0o600)
    for other in (key for key in store.below() if key != PAGE):
        store.remove(other)


def page(over: ChangeOver, study: LoadedStudy, follow_ups: FollowUps, typed: Typed) -> str:
    """The page as HTML. typed: the commands it offers."""
    drawn = [runner for runner in over.listed[:MOST_DRAWN] if runner in over.weeks]
    span = over.last_weeks
    return (
        templates()
        .get_template("safety.html.j2")
        .render(
            **page_style(),
            study=study.study,
            study_version=study.version,
            judged_by=over.judged_by,
            at_lab=False,
            alone=True,
            root="",
            over=over,
            board=board(over, follow_ups),
            open_rows=OPEN_ROWS,
            typed=typed,
            trends={r: trend_chart(r, over.weeks[r], span, f"trend-{n}") for n, r in enumerate(drawn)},
            drawn=[(r, week_chart(r, over.weeks[r], span, f"weeks-{n}")) for n, r in enumerate(drawn)],
            wording=WORDING,
            limits=study.study.processing.transition,
        )
    )
