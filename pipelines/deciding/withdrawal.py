"""Takes a runner, or one kind of the runner's data, out of everything live, and proves it by searching afterwards.

Order matters, since a kill may come at any moment: first the withdrawal is remembered, so that from then on every run
withholds the runner; then each delivery is judged again without the rows and files; then bytes nobody holds are
removed; then warehouse and pages are built. Asked for again, it goes on where it stopped. What is taken out of a bag is
in ``pipelines.consent.redaction``; how runners are known again in ``pipelines.depot.books.withdrawals``.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pipelines.depot.books.rows import Entry, Record, Withdrawal
from pipelines.depot.consents import WHOLE_TRIAL, changed
from pipelines.depot.desk import Desk
from pipelines.depot.ledger import whoami
from pipelines.depot.overrides import forget_gone
from pipelines.depot.search_bytes import files_with
from pipelines.depot.storage import Depot, remove_folder
from pipelines.depot.upgrade import ASIDE
from pipelines.errors import Unusable
from pipelines.study.file import load_study
from pipelines.taking_in.building import build, is_built
from pipelines.taking_in.due import until_none
from pipelines.taking_in.noting import again
from pipelines.taking_in.opening import finish_what_a_kill_left, open_desk
from schemas.privacy import EVERY_SCOPE

SCOPES = ("motion", "force", "muscle", "metabolic", "pooling", EVERY_SCOPE)


@dataclass(frozen=True)
class Withdrawn:
    """What a withdrawal did. files_removed: of the raw store and the closed folder; found: live files with the id."""

    tombstone: str
    scope: str
    deliveries: tuple[str, ...]
    files_removed: int
    searched: int
    found: tuple[Path, ...]
    superseded: tuple[Entry, ...] = ()

    def text(self) -> str:
        """The outcome, for people; the runner is not named."""
        scope = "everything" if self.scope == EVERY_SCOPE else self.scope
        lines = [
            f"Withdrawn: {scope}. Tombstone {self.tombstone} in the ledger, without identity.",
            f"Judged again without it: {', '.join(self.deliveries) or 'no delivery, nothing of it was here any more'}.",
            f"Files removed: {self.files_removed}. The same files, if sent again, are withheld.",
        ]
        if self.scope == EVERY_SCOPE:
            found = len(self.found)
            lines.append(f"The runner's id was searched for in {self.searched} live files and found in {found}.")
            lines += [f"  STILL IN {path}" for path in self.found]
        if self.superseded:
            names = ", ".join(entry.name for entry in self.superseded)
            lines.append(f"Listed as superseded: {names}. Freeze a new release; delete old copies as the consent says.")
        lines.append("Not touched: the inbox, backups and copies made outside the depot. Remove the runner there, too.")
        return "\n".join(lines)


def withdraw(
    study_path: Path, depot_root: Path | str, runner: str, scope: str, actor: str | None = None, why: str | None = None
) -> Withdrawn:
    """Take ``scope`` ("all" or one kind of data) of ``runner`` out of the depot and build warehouse and pages anew.

    Raises Unusable if the scope is unknown, or if the depot does not know the runner and nothing was withdrawn before.
    """
    if scope not in SCOPES:
        raise Unusable(f"There is no scope {scope!r}.", f"one of {', '.join(SCOPES)}.", "Give one with --scope.")
    if why and re.search(rf"(?<![0-9A-Za-z]){re.escape(runner)}(?![0-9A-Za-z])", why):
        seen = "The reason names the runner, and the ledger can never forget."
        raise Unusable(seen, "a reason without identity.", "Give another with --why, or leave it out.")
    depot, study = Depot(depot_root), load_study(study_path)
    with depot.writing(actor or whoami()), open_desk(depot, study, actor) as desk:
        finish_what_a_kill_left(desk)
        withdrawal = _remember(desk, runner, scope, why)
        judged = []
        for record in _due(desk, runner, scope):
            again(desk, record, "A runner withdrew.", lambda done, of: None)
            judged.append(record.delivery_id)
        forget_gone(depot.books)
        removed = _remove_files(depot, withdrawal)
        now = datetime.now(UTC).isoformat(timespec="seconds")
        with depot.books.transaction():
            older = depot.books.releases.supersede_all(now, "A runner withdrew data that it holds or may hold.")
        depot.books.forget_for_good()
        remove_folder(depot.root / ASIDE)  # what an upgrade left names runners
        if scope == EVERY_SCOPE:
            shutil.rmtree(depot.dagster_home, ignore_errors=True)  # its history shows rows of tables
        if judged or not is_built(desk):
            build(desk, lambda text: None)
        searched, found = files_with(depot, [runner]) if scope == EVERY_SCOPE else (0, [])
        return Withdrawn(withdrawal.tombstone, scope, tuple(judged), removed, searched, tuple(found), tuple(older))


def _remember(desk: Desk, runner: str, scope: str, why: str | None) -> Withdrawal:
    """Note the withdrawal, and the tombstone that tells it: that somebody withdrew, when, and what; told once."""
    gates = desk.books.gates
    if not gates.naming(runner) and not desk.books.withdrawals.scopes(runner):
        raise Unusable(
            "The depot does not know this runner.",
            "the participant_id of a runner of a delivery that was taken in.",
            "Compare it with participants.csv of the delivery; capital and small letters count.",
            file=desk.depot.root,
        )
    shas = gates.tables_naming(runner) | (gates.files_of_trials(runner) if scope in WHOLE_TRIAL else set())
    with desk.books.transaction():
        withdrawal, new = desk.books.withdrawals.remember(runner, scope, shas)
        if new:
            desk.ledger.write(
                "withdrawal", f"tombstone-{withdrawal.tombstone}", why or "A runner withdrew.", scope=scope
            )
    return withdrawal


def _due(desk: Desk, runner: str, scope: str) -> Iterator[Record]:
    """Deliveries to judge again: where consent has changed by it, and where rows came again after an earlier one."""
    done = set()
    for record in until_none(lambda: changed(desk)):
        done.add(record.delivery_id)
        yield record
    gates, names = desk.books.gates, set()
    if scope in (EVERY_SCOPE, "pooling"):
        names |= set(gates.naming(runner))
    if scope in WHOLE_TRIAL:
        names |= set(gates.with_trials_of(runner))
    for name in sorted(names - done):
        left = desk.books.deliveries.get(name)
        if left is not None and left.held:
            yield left


def _remove_files(depot: Depot, withdrawal: Withdrawal) -> int:
    """Remove the runner's files, and tables as they were with the runner, wherever no delivery holds them any more."""
    withdrawals, held = depot.books.withdrawals, depot.books.deliveries.shas_held()
    out = [p for folder in (depot.raw, depot.closed) for p in folder.rglob("*") if p.is_file() and p.name not in held]
    out = [path for path in out if withdrawals.word(path.name) in withdrawal.files]
    for path in out:
        path.unlink()
    return len(out)
