"""Results of deliveries written straight into a depot: a few trials of a few runners, as plain words. Nothing is judged."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from pipelines.depot import keys
from pipelines.depot.storage import Depot, write_table
from schemas.catalogue import TABLES
from schemas.model import Kind, Table

STAMP = {"code_version": "0", "study_version": "0"}


@dataclass(frozen=True)
class Sent:
    """One version of one trial. value: of its outcomes, so that versions can be told apart."""

    trial: str
    runner: str
    standing: str = "accepted"
    value: float = 0.25
    condition: str = "cushioned"


@dataclass(frozen=True)
class Parcel:
    """One delivery. weeks: (runner, week) of the log, also of runners without a trial in it."""

    site: str
    number: int
    trials: tuple[Sent, ...]
    weeks: tuple[tuple[str, int], ...] = ()
    mass_kg: float = 70.0

    @property
    def delivery_id(self) -> str:
        return f"{self.site}-{self.number:03}"

    def without(self, runner: str) -> Parcel:
        """The parcel as it is kept once that runner has withdrawn."""
        trials = tuple(replace(t, standing="withheld") if t.runner == runner else t for t in self.trials)
        return replace(self, trials=trials, weeks=tuple(w for w in self.weeks if w[0] != runner))


@dataclass
class SmallDepot:
    """A depot and the results that are in it."""

    depot: Depot
    results: dict[str, str] = field(default_factory=dict)

    def put(self, parcel: Parcel) -> None:
        """Write the parcel's result, in place of an older one."""
        for name, rows in _rows(parcel).items():
            _write(self.depot, TABLES[name], rows, parcel.delivery_id)
        self.results[parcel.delivery_id] = secrets.token_hex(8)

    def published(self) -> dict[str, dict[str, str]]:
        """The checksums that the books would have."""
        places = [*map(keys.result, self.depot.delivery_ids()), keys.WAREHOUSE]
        return {place: self.depot.store.hashes(place) for place in places if self.depot.store.exists(place)}

    def drop(self, delivery_id: str) -> None:
        """Take a delivery out; its files stay, since only the results say what is in."""
        del self.results[delivery_id]


def _rows(parcel: Parcel) -> dict[str, list[dict[str, Any]]]:
    kept = [t for t in parcel.trials if t.standing != "withheld"]
    accepted = [t for t in kept if t.standing == "accepted"]
    about = {t.trial: {"site": parcel.site, "condition": t.condition, "visit": "week_0"} for t in parcel.trials}
    sessions = {f"{t.runner}-{parcel.site}": t.runner for t in kept}
    runners = {t.runner for t in kept} | {runner for runner, _ in parcel.weeks}
    return {
        "deliveries": [{"site": parcel.site, "delivery_number": parcel.number, "status": "taken_in"}],
        "standings": [
            {"trial_id": t.trial, "site": parcel.site, "standing": t.standing, "superseded": False, "kind": "running"}
            | ({"participant_id": t.runner, **about[t.trial]} if t.standing != "withheld" else {})
            for t in parcel.trials
        ],
        "findings": [
            {"finding_id": f"{parcel.delivery_id}-{t.trial}", "site": parcel.site, "trial_id": t.trial, "seen": t.runner}
            for t in kept
            if t.standing == "returned"
        ],
        "trials": [
            {"trial_id": t.trial, "participant_id": t.runner, "session_id": f"{t.runner}-{parcel.site}", "kind": "running"}
            | about[t.trial]
            for t in accepted
        ],
        "footfalls": [
            {"trial_id": t.trial, "footfall_number": n, "side": "left", "contact_time_s": t.value + n / 100}
            for t in accepted
            for n in (1, 2)
        ],
        "sessions": [
            {"session_id": name, "participant_id": runner, "site": parcel.site, "visit": "week_0", "mass_kg": parcel.mass_kg}
            for name, runner in sessions.items()
        ],
        "runners": [{"participant_id": runner, "mass_kg": parcel.mass_kg} for runner in sorted(runners)],
        "reported_weeks": [
            {"participant_id": runner, "week": week, "condition": "cushioned", "running_min": 10.0 * parcel.number}
            for runner, week in parcel.weeks
        ],
    }  # fmt: skip


def _write(depot: Depot, table: Table, rows: list[dict[str, Any]], delivery_id: str) -> None:
    plain = {Kind.INTEGER: 1, Kind.REAL: 1.0, Kind.BOOLEAN: False}
    filled = [
        {f.name: row.get(f.name, None if f.nullable else plain.get(f.kind, "x")) for f in table.fields}
        | {"delivery_id": delivery_id, **STAMP}
        for row in rows
    ]
    frame = pd.DataFrame(
        [{name: row[name] for name in table.column_names} for row in filled], columns=list(table.column_names)
    )
    with depot.working("table") as work:
        write_table(table, frame, work / keys.file_of(table))
        depot.store.bring(work / keys.file_of(table), f"{keys.result(delivery_id)}/{keys.file_of(table)}")
