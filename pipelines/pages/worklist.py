"""What a data manager has before them: what to decide, what laboratories have to send, what was noted, what is done.

One row is one trial or one delivery, with the likeliest cause of what was seen. Nothing here knows HTML.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from checks.causes import causes_first
from checks.registry import catalogue
from pipelines.depot.overrides import why_not
from pipelines.pages.facts import Facts, Finding, Standing
from pipelines.pages.round_trip import RoundTrip
from pipelines.pages.table_csv import UTF8_MARK, harmless
from pipelines.pages.typed import Typed
from pipelines.pages.words import NO_FINDING, check_words
from schemas.received import NOTHING_TO_SEND

CSV_HEAD = (
    "task", "site", "trial_id", "participant_id", "visit", "condition", "check_name", "seen", "expected", "what_to_do",
    "further_causes", "delivery_id", "since_utc", "command",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One thing on the list. trial_id: None for a whole delivery. since_utc: how long it has waited.

    finding: the likeliest cause, None if none is recorded; more: how many further causes there are.
    checks: all of them, the likeliest first. commands: what to type to decide it, ready to copy. came: the day of its
    delivery; is_new: that of the newest one. named_site: of a delivery in another site's inbox.
    """

    task: str
    site: str | None
    delivery_id: str
    trial_id: str | None
    participant_id: str | None
    visit: str | None
    condition: str | None
    finding: Finding | None
    checks: tuple[str, ...]
    more: int
    since_utc: str
    came: str
    is_new: bool
    commands: tuple[str, ...] = ()
    named_site: str | None = None

    @property
    def check(self) -> str:
        """What should have held, in words."""
        return check_words(self.finding.check_name) if self.finding else NO_FINDING


@dataclass(frozen=True)
class Worklist:
    """decide: the data manager's own; send: a laboratory's; noted: on accepted trials, nothing has to be done.

    done: trials that went back and were accepted since, the newest first.
    """

    decide: tuple[Row, ...]
    send: tuple[Row, ...]
    noted: tuple[Row, ...]
    done: tuple[RoundTrip, ...]

    @property
    def waiting(self) -> tuple[Row, ...]:
        """Everything but what is done."""
        return (*self.decide, *self.send, *self.noted)

    def of_site(self, site: str) -> list[Row]:
        """What one laboratory has still to send."""
        return [row for row in self.send if row.site == site]


def worklist(facts: Facts, typed: Typed | None = None) -> Worklist:
    """Everything that waits for somebody, the oldest first; nothing of a withheld trial.

    typed: commands to decide rows by; None where nobody who reads it can decide.
    """
    crashed = {where for run in facts.check_runs for where in run.crashed_on}
    trips = {(t.site, t.trial_id): t for t in facts.round_trips}
    aside: dict[tuple[str, str | None], set[str]] = {}
    for one in facts.set_aside:
        aside.setdefault((one.delivery_id, one.trial_id), set()).add(one.check_name)

    def row(standing: Standing, task: str) -> Row | None:
        key = (standing.delivery_id, standing.trial_id)
        weight = "notes" if task == "noted" else "returns"
        found = causes_first(facts.findings_on.get(key, ()))
        causes = [f for f in found if f.weight == weight and f.check_name not in aside.get(key, ())]
        if task == "noted" and not causes:
            return None
        trip = trips.get((standing.site, str(standing.trial_id)))
        since = trip.open_since.received_utc if trip and trip.open_since else facts.received.get(key[0], "")
        return _of_trial(facts, standing, task, causes, since, typed)

    decide, send = _stopped(facts)
    for standing in facts.returned:
        own = (standing.delivery_id, standing.trial_id) in crashed
        if (made := row(standing, "decide" if own else "send")) is not None:
            (decide if own else send).append(made)
    accepted = (s for s in facts.current if s.standing == "accepted" and s.trial_id is not None)
    noted = tuple(made for s in accepted if (made := row(s, "noted")) is not None)
    done = sorted((t for t in facts.round_trips if not t.is_open), key=lambda t: t.last.received_utc, reverse=True)
    return Worklist(_oldest_first(decide), _oldest_first(send), noted, tuple(done))


def _oldest_first(rows: Iterable[Row]) -> tuple[Row, ...]:
    return tuple(sorted(rows, key=lambda r: (r.since_utc, r.site or "", r.delivery_id, r.trial_id or "")))


def _of_trial(
    facts: Facts, standing: Standing, task: str, causes: Sequence[Finding], since_utc: str, typed: Typed | None
) -> Row:
    checks = tuple(dict.fromkeys(f.check_name for f in causes))
    decides = task == "send" and all(map(_can_be_set_aside, checks))  # else it would not be accepted for the others
    return Row(
        task,
        standing.site,
        standing.delivery_id,
        standing.trial_id,
        standing.participant_id,
        standing.visit,
        standing.condition,
        causes[0] if causes else None,
        checks,
        max(0, len(causes) - 1),
        since_utc,
        *_came(facts, standing.delivery_id),
        tuple(typed.accept(str(standing.trial_id), name) for name in checks if decides) if typed else (),
    )


def _stopped(facts: Facts) -> tuple[list[Row], list[Row]]:
    """Stopped deliveries: those of which nobody knows whom to ask or nothing is asked, and those of a site."""
    decide: list[Row] = []
    send: list[Row] = []
    for d in facts.stopped:
        found = [f for f in facts.findings_of.get(d.delivery_id, ()) if f.weight == "stops"]
        first, more, came = found[0] if found else None, max(0, len(found) - 1), _came(facts, d.delivery_id)
        checks = tuple(dict.fromkeys(f.check_name for f in found))
        nothing = first is not None and first.remedy.startswith(NOTHING_TO_SEND)
        asked = d.site is not None and d.named_site is None and not nothing
        task, where = ("send", send) if asked else ("decide", decide)
        where.append(
            Row(
                task,
                d.site,
                d.delivery_id,
                None,
                None,
                None,
                None,
                first,
                checks,
                more,
                d.received_utc,
                *came,
                named_site=d.named_site,
            )
        )
    return decide, send


def _came(facts: Facts, delivery_id: str) -> tuple[str, bool]:
    """The day on which a delivery came, and whether that was the newest."""
    day = facts.received.get(delivery_id, "")[:10]
    return day, day == facts.newest_utc[:10]


def new_in(rows: Iterable[Row]) -> int:
    """How many rows came on the day of the newest delivery."""
    return sum(row.is_new for row in rows)


def _can_be_set_aside(check_name: str) -> bool:
    spec = catalogue().get(check_name)
    return spec is None or why_not(spec) is None


def as_csv(rows: Iterable[Row], *, commands: bool = True) -> str:
    """A list as CSV. commands: with those that decide a row.

    It begins so that a spreadsheet reads its letters right, and no cell so that it would take it for a formula.
    """
    text, cells = io.StringIO(), None if commands else -1
    text.write(UTF8_MARK)
    writer = csv.writer(text)
    writer.writerow(CSV_HEAD[:cells])
    for row in rows:
        writer.writerow([harmless(cell) for cell in _cells(row)][:cells])
    return text.getvalue()


def _cells(row: Row) -> Iterator[str]:
    finding = row.finding
    yield from (row.task, row.site or "", row.trial_id or "")
    yield from (row.participant_id or "", row.visit or "", row.condition or "")
    yield from (finding.check_name, finding.seen, finding.expected, finding.remedy) if finding else ("", "", "", "")
    yield from (str(row.more), row.delivery_id, row.since_utc, "; ".join(row.commands))
