"""What a run tells at its end: what came, what was accepted, what goes back and why, where to look. Plain text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from checks.consent.covers import is_of_nobody
from pipelines.consent.held_texts import read
from pipelines.depot.books.rows import Record
from pipelines.depot.published import read_result
from pipelines.depot.storage import Depot
from pipelines.depot.unread_consents import unread_consents
from pipelines.study.silence import Silent
from pipelines.taking_in.withdrawing import CarriedOut
from schemas import quality
from schemas.model import Table
from schemas.received import plain_rows

if TYPE_CHECKING:
    import pandas as pd

_ORDER = ("accepted", "returned", "withheld")
_MOST_SHOWN = 5
_MOST_REASONS = 8


@dataclass(frozen=True)
class Done:
    """A delivery that was worked on, and why."""

    record: Record
    why: str


@dataclass(frozen=True)
class Failure:
    """A delivery that could not be worked on. ``ours``: a fault of manystrides, not of the input."""

    about: str
    text: str
    ours: bool


@dataclass
class Summary:
    """What a run did. finished: what it went on with that an earlier command had left, in lines for people.

    unfinished: tombstones of withdrawals that could not be carried out when it began. withdrawals: what was done for
    each that is not done, or was not before.
    raised: what broke the building of warehouse or pages off, the last time it was tried.
    still_arriving: deliveries that wait, since they are being copied.
    not_told: of servers that could not be told of it. silent: sites that have sent nothing for longer than planned.
    refused: why nothing was done. left_for_a_yes: what was not judged again, since a change of code or settings would
    have moved trials with it, and why; all else was done.
    reasons: whether it tells why trials go back; the check at a site tells that itself, trial by trial.
    tables: of the one result that is told of, if it is not in the depot.
    """

    depot: Depot
    done: list[Done] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)
    not_deliveries: list[str] = field(default_factory=list)
    built: bool = False
    finished: tuple[str, ...] = ()
    unfinished: tuple[str, ...] = ()
    withdrawals: list[CarriedOut] = field(default_factory=list)
    refused: str | None = None
    left_for_a_yes: list[str] = field(default_factory=list)
    raised: Exception | None = None
    not_told: list[str] = field(default_factory=list)
    still_arriving: list[str] = field(default_factory=list)
    silent: tuple[Silent, ...] = ()
    reasons: bool = True
    tables: Mapping[Table, pd.DataFrame] | None = field(default=None, repr=False)
    _read: dict[tuple[str, str], list[dict[str, Any]]] = field(default_factory=dict, repr=False)

    def add(self, done: Done) -> None:
        """Note a delivery that was worked on, in place of what was noted of it before."""
        self.done = [d for d in self.done if d.record.delivery_id != done.record.delivery_id]
        self.done.append(done)

    @property
    def exit_code(self) -> int:
        """0; 1 if judging again was not published or a withdrawal is not carried out.

        2 if an arrival could not be used just now; 3 if a check crashed or manystrides failed.
        """
        if self.crashed() or any(f.ours for f in self.failures):
            return 3
        ended = {one.job.tombstone for one in self.withdrawals if one.ended}
        if self.refused is not None or self.left_for_a_yes or set(self.unfinished) - ended:
            return 1
        return 2 if self.failures else 0

    @property
    def asks_laboratories(self) -> bool:
        """Whether something that was worked on was stopped, or has trials that go back."""
        return any(
            d.record.status == "stopped" or self._standings(d.record)["returned"]
            for d in self.done
            if d.record.status != "repeat"
        )

    def crashed(self) -> dict[str, list[str]]:
        """Checks that crashed: name -> where and how."""
        found: dict[str, list[str]] = {}
        for done in self.done:
            for run in self._rows(done.record, quality.CHECK_RUNS, status="crashed"):
                where = f"{run['delivery_id']}, {run['subject']}: {run['reason']}"
                found.setdefault(run["check_name"], []).append(where)
        return found

    def text(self) -> str:
        """The summary, for people."""
        return "\n".join(self._lines())

    def plain(self) -> dict[str, Any]:
        """The same for scripts, as values that JSON can hold; trials are counted and not named."""
        return {
            "deliveries": self.deliveries(),
            "failures": [{"about": f.about, "said": f.text, "fault_of_manystrides": f.ours} for f in self.failures],
            "not_deliveries": self.not_deliveries,
            "crashed_checks": {name: len(places) for name, places in self.crashed().items()},
            "built": self.built,
            "refused": self.refused,
            "not_told": self.not_told,
            "still_arriving": self.still_arriving,
            "silent_sites": [
                {"site": one.site, "since": one.since.isoformat(), "planned_days": one.planned_days}
                for one in self.silent
            ],
            "left_for_a_yes": self.left_for_a_yes,
            "pages": self.depot.pages.shown("index.html"),
            "warehouse": str(self.depot.warehouse),
        }

    def deliveries(self) -> list[dict[str, Any]]:
        """What came, each with how many of its trials stand how."""
        return [self._plain(done) for done in self.done]

    def _plain(self, done: Done) -> dict[str, Any]:
        record = done.record
        counts = Counter[str]() if record.status == "repeat" else self._standings(record)
        told = {"delivery": record.delivery_id, "arrived_as": record.arrival, "site": record.site}
        notes = 0 if record.status == "repeat" else self._notes(record)
        standing = {word: counts[word] for word in _ORDER}
        return told | {"status": record.status, "why": done.why, **standing, "notes": notes}

    def _lines(self) -> Iterator[str]:
        stopped = [d for d in self.done if d.record.status == "stopped"]
        others = sorted((d for d in self.done if d.record.status != "stopped"), key=lambda d: d.record.delivery_id)
        yield from self.finished
        if self.refused is not None:
            yield self.refused
            return
        if not self.done and not self.failures:
            yield "Nothing new: every delivery in the inbox is already in the depot."
            if self.built:
                yield "Warehouse and pages were built anew."
            yield from self._consents()
        if others:
            yield "What came"
            yield from (f"  {self._delivery(d)}" for d in others)
        for done in stopped:
            yield from self._stopped(done)
        returned = [line for d in others for line in self._returned(d)] if self.reasons else []
        if returned:
            yield "What goes back, and why"
            yield from returned
        yield from self.faults()
        if self.not_deliveries:
            yield "Not looked at, since neither a bag (no bagit.txt) nor a .zip: " + ", ".join(self.not_deliveries)
        if self.tables is None:  # of a check at the laboratory there is no depot to tell of
            yield from self._depot(others)
        else:
            yield from self._nobodys()

    def _depot(self, others: list[Done]) -> Iterator[str]:
        """What waits in the depot, and where to look."""
        if held := len({text.word for d in others for text in read(self.depot.result(d.record.delivery_id))}):
            yield f"Held for a look: {held} {'text' if held == 1 else 'texts'} ({self._texts})"
        yield from self._consents()
        if self.still_arriving:
            yield "Still being copied into the inbox, waits for the next run: " + ", ".join(self.still_arriving)
        yield from (one.told for one in self.silent)
        yield from self.not_told
        yield "Where to look"
        yield f"  pages      {self.depot.pages.shown('index.html')}"
        asked = f'manystrides sql "SELECT * FROM completeness" --depot {self.depot.root}'
        yield f"  warehouse  {self.depot.warehouse}   ({asked})"
        yield f"  ledger     manystrides ledger show --depot {self.depot.root}"

    def faults(self) -> Iterator[str]:
        """What did not come to its end, line by line."""
        yield from self.left_for_a_yes
        for failure in self.failures:
            fault = "a fault of manystrides" if failure.ours else "it is tried again with the next run"
            yield f"COULD NOT BE WORKED ON ({fault}): {failure.about}"
            yield f"  {failure.text}"
        for name, places in self.crashed().items():
            yield f"CHECK CRASHED, a fault of manystrides: {name} ({len(places)} times)"
            yield from (f"  {place}" for place in places[:_MOST_SHOWN])

    def _consents(self) -> Iterator[str]:
        """Withdrawals that may not have been understood: of every delivery that waits, and of those worked on now."""
        with self.depot.opened():
            unread = [record.delivery_id for record in unread_consents(self.depot)]
        for name in unread:
            yield f"A WITHDRAWAL MAY BE IN consents.csv of {name}, which could not be read: nothing can be released"
            yield "  before it is sent corrected under its number, or looked at (release --consents-looked-at)"
        yield from self._nobodys()

    def _nobodys(self) -> Iterator[str]:
        for done in self.done:
            for finding in self._rows(done.record, quality.FINDINGS):
                if is_of_nobody(finding):
                    yield f"A CODE THAT IS NOBODY'S, {done.record.delivery_id}: {finding['seen']}"

    def _standings(self, record: Record) -> Counter[str]:
        """Trials of a delivery by standing."""
        return Counter(row["standing"] for row in self._rows(record, quality.STANDINGS))

    def _notes(self, record: Record) -> int:
        """Findings of a delivery that keep nothing back, less those that follow from others."""
        findings = self._rows(record, quality.FINDINGS)
        return sum(one["weight"] == "notes" and one["consequence_of"] is None for one in findings)

    def _rows(self, record: Record, table: Table, **only: str) -> list[dict[str, Any]]:
        """Rows of a delivery's result, proved and read once. only: column and value of those that are wanted."""
        key = (record.result, table.name)
        if key not in self._read:
            if self.tables is not None:
                rows = self.tables[table]
            else:
                with self.depot.opened():
                    rows = read_result(self.depot, record.delivery_id, table)
            for column, value in only.items():
                rows = rows[rows[column] == value]
            self._read[key] = plain_rows(rows)
        return self._read[key]

    @property
    def _texts(self) -> str:
        return f"manystrides texts list --depot {self.depot.root}"

    def _delivery(self, done: Done) -> str:
        record = done.record
        if record.status == "repeat":
            return f"{record.arrival}: the same bytes as {record.delivery_id.partition('.')[0]}; nothing was doubled"
        counts = self._standings(record)
        told = ", ".join(f"{counts[word]} {word}" for word in _ORDER)
        if notes := self._notes(record):
            told += f"; {notes} {'note' if notes == 1 else 'notes'}"
        again = "" if done.why == "new" else f"   ({done.why})"
        return f"{record.delivery_id}: {told}{again}"

    def _stopped(self, done: Done) -> Iterator[str]:
        yield f"STOPPED, nothing of it was used: {done.record.arrival} ({done.record.delivery_id})"
        findings = [f for f in self._rows(done.record, quality.FINDINGS) if f["weight"] == "stops"]
        for finding in findings[:_MOST_SHOWN]:
            where = ", ".join(str(part) for part in (finding["file"], finding["place"]) if part)
            yield f"  {where + ': ' if where else ''}{finding['seen']} Expected: {finding['expected']}"
        if len(findings) > _MOST_SHOWN:
            yield f"  and {len(findings) - _MOST_SHOWN} more findings, all in the table findings"
        for remedy in dict.fromkeys(f["remedy"] for f in findings):
            yield f"  What to do: {remedy}"

    def _returned(self, done: Done) -> Iterator[str]:
        returned = {s["trial_id"] for s in self._rows(done.record, quality.STANDINGS) if s["standing"] == "returned"}
        by_check: dict[str, list[dict[str, Any]]] = {}
        for finding in self._rows(done.record, quality.FINDINGS):
            of_a_table = finding["trial_id"] is None and done.record.status == "taken_in"
            own = finding["weight"] == "returns" and finding["consequence_of"] is None
            if own and (of_a_table or finding["trial_id"] in returned):
                by_check.setdefault(finding["check_name"], []).append(finding)
        if by_check:
            what = f"{len(returned)} {_trials(len(returned))}" if returned else "parts of its tables"
            yield f"  {done.record.delivery_id}: {what}"
        reasons = sorted(by_check.items(), key=lambda item: (-len(item[1]), item[0]))
        for _, findings in reasons[:_MOST_REASONS]:
            ids = sorted({f["trial_id"] or f["place"] or f["file"] or "the delivery" for f in findings})
            more = "" if len({f["seen"] for f in findings}) == 1 else " And others like it."
            listed = ", ".join(ids[:_MOST_SHOWN]) + (", ..." if len(ids) > _MOST_SHOWN else "")
            yield f"    {findings[0]['seen']}{more}"
            yield f"      {listed}"
        if len(reasons) > _MOST_REASONS:
            page = self.depot.pages.shown(f"sites/{done.record.site}.html")
            yield f"    and {len(reasons) - _MOST_REASONS} more reasons, each with its remedy, on {page}"


def _trials(count: int) -> str:
    return "trial" if count == 1 else "trials"
