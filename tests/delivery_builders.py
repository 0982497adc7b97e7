"""Small deliveries for tests: one runner, one visit, one standing and one running trial, packed as a BagIt bag.

Trials are simulated as for the demonstration, because they must pass every check; files are made once per test run.
"""

from __future__ import annotations

import os
import re
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from demo_site_uploads.simulator import faults
from demo_site_uploads.simulator.bags import bag_info, descriptor, make_bag, zip_bag
from demo_site_uploads.simulator.delivery import PlannedTrial, Session
from demo_site_uploads.simulator.measure import Asked
from demo_site_uploads.simulator.tables import Rows, consent_rows, participant_row
from pipelines.assets.run import at_work
from pipelines.deciding.withdrawal import Asked as Leaving
from pipelines.depot.storage import Depot, read_table
from pipelines.taking_in.batch import work_off
from pipelines.taking_in.summary import Summary

REPO = Path(__file__).resolve().parents[1]
STUDY = REPO / "demo_site_uploads" / "study.yaml"
FAULTS = {
    "heavy": faults.channels_scaled("P1", 1.18),
    "heavier": faults.channels_scaled("P1", 1.25),
    "as good": faults.channels_scaled("P1", 1.004),  # other bytes, in which no check finds anything
}


@cache
def planned(
    runner: str, name: str, visit: str = "week_0", fault: str | None = None, condition: str = "cushioned"
) -> tuple[PlannedTrial, bytes]:
    """One trial at the treadmill laboratory; ``name`` is "standing" or a number."""
    asked = Asked(kind="standing") if name == "standing" else Asked(duration_s=2.6)
    trial = PlannedTrial(Session(runner, visit, "brack"), condition, name, asked, FAULTS[fault] if fault else None)
    return trial, trial.content()


def trial_id(name: str, runner: str = "FS-01") -> str:
    """The id of a trial that ``a_delivery`` sends."""
    return planned(runner, name)[0].trial_id


def a_delivery(
    inbox: Path,
    number: int | None = 1,
    *,
    arrives_as: str | None = None,
    runners: tuple[str, ...] = ("FS-01",),
    names: tuple[str, ...] = ("standing", "1"),
    faulty: dict[str, str] | None = None,
    withdrawn: dict[str, int] | None = None,
    replace_files: dict[str, bytes] | None = None,
    zipped: bool = False,
    reasons: dict[str, str] | None = None,
    condition: str = "cushioned",
    channels: bool = False,
    told: dict[str, Any] | None = None,
) -> Path:
    """Put a delivery of the laboratory brack into ``inbox``; returns its folder or file.

    faulty: trial name -> fault. withdrawn: runner -> study day. replace_files: payload path -> other content. reasons:
    trial name -> why it is sent again. channels: whether channels.csv names the muscles. told: cells of sessions.csv and
    participants.csv that say something else than usual.
    """
    rows, payload = Rows(), {}
    for runner in runners:
        trials = [planned(runner, name, fault=(faulty or {}).get(name), condition=condition) for name in names]
        session = trials[0][0].session
        rows.participants.append(_otherwise(participant_row(session.runner), told))
        rows.consents += consent_rows(session.runner, (withdrawn or {}).get(runner))
        rows.sessions.append(_otherwise(session.row(), told))
        for order, (trial, content) in enumerate(trials, start=1):
            reason = {"resend_reason": reasons[trial.name]} if reasons and trial.name in reasons else {}
            rows.trials.append(trial.row(order) | reason)
            rows.channels += trial.channel_rows() if channels else []
            payload[trial.file] = content
    payload |= rows.files() | {"datapackage.json": descriptor("test")} | (replace_files or {})
    name = arrives_as or f"brack-{number or 0:03d}"
    folder = make_bag(inbox / "brack" / name, payload, bag_info("brack", number))
    if not zipped:
        return folder
    target = zip_bag(folder, inbox / "brack" / f"{name}.zip")
    for path in sorted(folder.rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    folder.rmdir()
    return target


def _otherwise(row: dict[str, Any], told: dict[str, Any] | None) -> dict[str, Any]:
    return row | {name: value for name, value in (told or {}).items() if name in row}


def take_in_only(inbox: Path, depot: Path, study: Path = STUDY, *, yes: bool = False) -> Summary:
    """What a run does with deliveries, for tests that look at their results: warehouse and pages are not made."""
    with at_work(study, depot, "tester", inbox, workers=1, yes=yes) as bench:
        for _ in work_off(bench):
            pass
    return bench.summary


def leaving(runner: str, scope: str = "all", by: str = "tester", why: str = "by letter", **more: Any) -> Leaving:
    """A withdrawal that is asked for."""
    return Leaving(runner, scope, why, by, **more)


_HELD = re.compile(r"text [0-9a-f]{8}(?=\))")


def tables(depot: Path) -> dict[str, dict[str, Any]]:
    """Every Parquet table of a depot, as delivery -> table -> rows; what must differ between two runs is left out."""
    place = Depot(depot)
    found: dict[str, dict[str, Any]] = {}
    for delivery_id in place.delivery_ids():
        folder = place.result(delivery_id).local()
        found[delivery_id] = {p.stem: _rows(read_table(p)) for p in sorted(folder.glob("*.parquet"))}
    return found


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    plain = frame.drop(columns="received_utc", errors="ignore").astype(object)
    return [_of_any_depot(row) for row in plain.where(plain.notna(), None).to_dict("records")]


def _of_any_depot(row: dict[str, Any]) -> dict[str, Any]:
    """A row without the words by which held texts go: each depot hashes them with a key of its own."""
    shown = {name: _HELD.sub("text HELD", v) if isinstance(v, str) else v for name, v in row.items()}
    return {**shown, "finding_id": "of its own"} if shown != row and "finding_id" in row else shown


def raw_files(depot: Path) -> set[str]:
    """Checksums of the raw store."""
    return {name for _, _, names in os.walk(Depot(depot).root / "raw") for name in names}
