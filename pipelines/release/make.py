"""Freezes a release: consent looked up again, tables written, described, proven free of withdrawn runners, shelved.

Warehouse and pages are there already: ``pipelines.assets`` makes them first. A release is made in ``work/`` and renamed
into place, so that a kill leaves a whole one or none. What it holds is in ``contents``; it is never changed afterwards,
only marked as superseded.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot import keys
from pipelines.depot.books.rows import Entry
from pipelines.depot.desk import Desk
from pipelines.depot.keys import file_of
from pipelines.depot.proof import ENTRY
from pipelines.depot.published import prove, proved_table
from pipelines.depot.storage import READ_ONLY, Depot, read_table
from pipelines.depot.store import Store
from pipelines.errors import Unusable
from pipelines.identity.reasons import refuse_who
from pipelines.identity.word_list import names_beside
from pipelines.release.changes import compare
from pipelines.release.contents import fill, released_tables, write_parquet
from pipelines.release.describe import describe
from pipelines.release.disclose import Earlier, told_in
from pipelines.release.unread_consents import refuse_unread
from pipelines.taking_in.building import is_built
from pipelines.taking_in.due import any_follow_up
from pipelines.taking_in.due import stale as made_with_something_else
from schemas.consent_history import History
from schemas.core import RUNNERS
from schemas.model import Table
from schemas.privacy import EVERY_SCOPE, POOLING, RUNNER, SESSION, TRIAL

if TYPE_CHECKING:
    import pandas as pd


#: The scope without which nothing of a runner may be shared openly.
OPEN_SHARING = "open_sharing"


@dataclass(frozen=True)
class Released:
    """new: False if the latest release holds the same already. earlier: what was finished first, for people."""

    entry: Entry
    folder: Path
    new: bool
    earlier: tuple[str, ...] = ()

    def text(self) -> str:
        """The outcome, for people."""
        return "\n".join([*self.earlier, self._told()])

    def _told(self) -> str:
        entry = self.entry
        if not self.new:
            return f"Nothing has changed since release {entry.number}: {self.folder}"
        return (
            f"Release {entry.number} with {entry.trial_count} trials: {self.folder}\n"
            "Consent was looked up again, and no withdrawn runner is in it."
            + (" Earlier releases are listed as superseded." if entry.number > 1 else "")
        )


def freeze(desk: Desk, why: str, *, openly: bool = False) -> Entry:
    """Freeze what the depot pools, in the name of the desk's actor; the latest release again if nothing has changed.

    openly: only of runners who agreed to open sharing and have not taken that back, in whatever delivery. Raises
    Unusable if there is nothing to freeze, no reason is given, or the pool is not what the books know today.
    """
    note_unlisted(desk)
    refuse_what_a_run_must_do(desk, why)
    if any_follow_up(desk) or not is_built(desk):
        raise Unusable(
            "Some deliveries could not be judged with what is known today, or the warehouse could not be built.",
            "a pool that is up to date.",
            "Run `manystrides run`, correct what it names, then freeze the release.",
            file=desk.depot.root,
        )
    with desk.depot.working("release") as work:
        return _freeze(desk, work, why.strip(), desk.ledger.actor, openly)


def refuse_what_a_run_must_do(desk: Desk, why: str) -> None:
    """Raises Unusable without a reason or for one that names somebody, in an empty depot, or if another code judged.

    And while there is a consents.csv that nobody could read.
    """
    if not why.strip():
        raise Unusable("No reason is given.", "what the release is for.", "Say it with --why.")
    refuse_who(why, desk.books.gates.every_runner(), names_beside(desk.study.path))
    if not desk.books.deliveries.any_taken_in():
        seen = "The depot holds no delivery that was taken in."
        raise Unusable(seen, "a depot with accepted trials.", "Run `manystrides run` first.", file=desk.depot.root)
    refuse_unread(desk)
    if behind := made_with_something_else(desk):
        raise Unusable(
            f"{len(behind)} deliveries were judged by another code or study file.",
            "every trial judged the same way.",
            "Run `manystrides run` first, then freeze the release.",
            file=desk.depot.root,
        )


def _freeze(desk: Desk, work: Path, why: str, actor: str, openly: bool) -> Entry:
    depot, study = desk.depot, desk.study
    shelf, head = depot.books.releases.all(), depot.books.ledger.head()
    before = next((e for e in reversed(shelf) if depot.store.exists(keys.release(e.name))), None)
    (work / "tables").mkdir()
    prove(depot.store, keys.WAREHOUSE, depot.books.files.of(keys.WAREHOUSE).get(keys.WAREHOUSE))
    only = open_runners(desk) if openly else None
    told = fill(work / "warehouse.duckdb", depot.warehouse, study, desk.stamp.code_version, only, told_before(depot))
    write_parquet(work / "warehouse.duckdb", work / "tables")
    trials = read_table(work / "tables" / "trials.parquet")
    if trials.empty:
        seen = "No trial is accepted of a runner who agreed to open sharing." if openly else "No trial is accepted."
        raise Unusable(seen, "accepted trials to freeze.", "See the pages.", file=depot.root)
    prove_consent(desk, work / "tables")
    content = _content(work / "tables")
    latest = shelf[-1] if shelf else None
    if latest is not None and latest.content_sha256 == content and not latest.superseded_utc:
        return latest
    now = datetime.now(UTC).isoformat(timespec="seconds")
    entry = Entry(
        (shelf[-1].number if shelf else 0) + 1,
        now,
        actor,
        why,
        desk.stamp.code_version,
        study.version,
        len(trials),
        content,
        ledger_sequence=head.sequence,
        ledger_hash=head.hash,
    )
    (work / ENTRY).write_text(json.dumps(asdict(entry), indent=1) + "\n", encoding="utf-8")
    older = depot.store.at(f"{keys.release(before.name)}/tables") if before else None
    changes = compare(older, work / "tables")
    describe(work, study.study, entry, changes, trials, told, openly=openly)
    _place(depot, work, entry)
    _list(desk, entry)
    return entry


def told_before(depot: Depot) -> list[Earlier]:
    """What each release that is still in the depot told of who runners are. Raises Unusable for a damaged one."""
    found = []
    for entry in depot.books.releases.all():
        place, table = keys.release(entry.name), f"tables/{file_of(RUNNERS)}"
        if depot.store.exists(f"{place}/{table}"):
            wanted = depot.books.files.of(place).get(table)
            found.append(told_in(proved_table(depot.store.at(place), table, wanted)))
    return found


def open_runners(desk: Desk) -> frozenset[str]:
    """Runners whose consent to open sharing is in force after all that any delivery or withdrawal says."""
    runners = {runner for record in desk.books.deliveries.taken_in() for runner in _named(desk, record.delivery_id)}
    events = set(desk.books.gates.told(runners)) | set(desk.books.withdrawals.events(runners))
    history = History(events)
    return frozenset(r for r in runners if history.covered(r, None, {OPEN_SHARING, POOLING}))


def _named(desk: Desk, delivery_id: str) -> tuple[str, ...]:
    gate = desk.books.gates.get(delivery_id)
    return gate.runners if gate is not None else ()


def prove_consent(desk: Desk, tables: Path) -> None:
    """Raises Unusable if a runner who withdrew, or a file that was taken out, is in any of the tables."""
    withdrawals = desk.books.withdrawals
    owners = _owners(tables)
    for table in (t for t in released_tables() if (tables / f"{t.name}.parquet").exists()):
        frame = read_table(tables / f"{table.name}.parquet")
        shas = set(frame["raw_sha256"].dropna()) if "raw_sha256" in frame else set()
        gone = any(needs & withdrawals.scopes(runner) for runner, needs in _needed(table, frame, owners))
        if gone or withdrawals.files_taken_out(shas):
            raise Unusable(
                f"The table {table.name} still holds rows of a runner who withdrew.",
                "no row of a withdrawn runner.",
                "Run `manystrides withdraw` for the runner again, then freeze the release.",
                file=desk.depot.root,
            )


def _owners(tables: Path) -> dict[str, dict[str, str]]:
    """Session -> runner and trial -> runner, of a release's own tables."""
    ways = ((SESSION, "sessions"), (TRIAL, "trials"))
    frames = {by: read_table(tables / f"{name}.parquet") for by, name in ways}
    return {by: dict(zip(frame[by], frame[RUNNER], strict=True)) for by, frame in frames.items()}


def _needed(
    table: Table, frame: pd.DataFrame, owners: Mapping[str, Mapping[str, str]]
) -> Iterator[tuple[str, set[str]]]:
    """Each runner a table's rows lead to, with what must not have been withdrawn."""
    if table.rows is None or table.rows.by is None:
        return
    needs = {EVERY_SCOPE, *table.rows.needs}
    for code in frame[table.rows.by].dropna().unique():
        runner = code if table.rows.by == RUNNER else owners[table.rows.by].get(code)
        if runner is not None:
            yield str(runner), needs
    if RUNNER in frame:
        yield from ((str(runner), {EVERY_SCOPE, POOLING}) for runner in frame[RUNNER].dropna().unique())


def _content(tables: Path) -> str:
    """One checksum over all tables."""
    digest = hashlib.sha256()
    for path in sorted(tables.glob("*.parquet")):
        digest.update(f"{path.name}\0{hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    return digest.hexdigest()


def _place(depot: Depot, work: Path, entry: Entry) -> None:
    """Bring the finished folder into place, read-only."""
    for path in work.rglob("*"):
        if path.is_file():
            path.chmod(READ_ONLY)
    depot.store.bring(work, keys.release(entry.name))


def _list(desk: Desk, entry: Entry) -> None:
    """Put the release on the shelf in place of those before, and into the ledger."""
    with desk.books.transaction():
        desk.books.releases.supersede_all(entry.utc, f"Release {entry.number} takes its place.")
        desk.books.releases.put(entry)
        place = keys.release(entry.name)
        desk.books.files.put(place, desk.depot.store.hashes(place))
        desk.ledger.decided("released", entry.name, entry.why, trials=entry.trial_count, content=entry.content_sha256)


def _entry(release: Store) -> Entry:
    """The entry of a release that was brought into place before a kill. Raises Unusable."""
    try:
        return Entry(**json.loads(release.read(ENTRY)))
    except (ValueError, TypeError) as error:
        seen, expected = f"It cannot be read: {error}.", "the entry of a release that was frozen just before a kill."
        remedy = "Move the folder of this release away, then freeze the release again."
        raise Unusable(seen, expected, remedy, file=release.shown(ENTRY)) from None


def note_unlisted(desk: Desk) -> None:
    """List releases that were brought into place before a kill."""
    listed, store = {e.name for e in desk.books.releases.all()}, desk.depot.store
    for name in store.names(keys.RELEASES):
        release = store.at(keys.release(name))
        if name not in listed and release.is_object(ENTRY):
            _list(desk, _entry(release))
