"""Which bytes of a delivery are kept where: in the raw store, or apart because consent does not cover them.

How bytes are written is in ``pipelines.storage``; whether consent covers a trial is a check.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from checks.run import Report
from pipelines.arrivals import Record, records
from pipelines.desk import Opened
from pipelines.storage import Depot
from schemas.received import Received


def withheld_trials(report: Report, received: Received) -> frozenset[str]:
    """Trials that consent does not cover, and trials that share a file with one of them."""
    withheld = {f["trial_id"] for f in report.findings if f["weight"] == "withholds" and f["trial_id"]}
    files = _files_by_trial(received)
    shas = {f.path: f.sha256 for f in received.files}
    shut = {shas[path] for trial in withheld for path in files.get(trial, ()) if path in shas}
    return frozenset(withheld | {t for t, paths in files.items() if any(shas.get(path) in shut for path in paths)})


def _files_by_trial(received: Received) -> dict[str, list[str]]:
    files: dict[str, list[str]] = {}
    for row in received.tables["sent_trials"][["trial_id", "file", "sidecar"]].itertuples(index=False):
        if isinstance(row.trial_id, str):
            files.setdefault(row.trial_id, []).extend(p for p in (row.file, row.sidecar) if isinstance(p, str))
    return files


def store_files(
    depot: Depot, delivery_id: str, opened: Opened, withheld: frozenset[str]
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Store every payload file: in raw, or apart if consent does not cover it or no table says whose it is."""
    assert opened.payload is not None
    received = opened.received
    by_trial = _files_by_trial(received)
    shut = {path for trial in withheld for path in by_trial.get(trial, ())}
    shut_shas = {f.sha256 for f in received.files if f.path in shut}
    named = {path for paths in by_trial.values() for path in paths}
    stored, closed = {}, []
    for file in received.files:
        source = opened.payload / file.path
        is_table = file.path.lower().endswith((".csv", ".json")) and "/" not in file.path
        if file.sha256 in shut_shas or not (is_table or file.path in named):
            depot.store_closed(source, delivery_id, file.sha256)
            closed.append(file.path)
        else:
            depot.store_raw(source, file.sha256)
        stored[file.path] = file.sha256
    return stored, tuple(closed)


def shut_bytes(depot: Depot, before: Record | None, now: Record) -> None:
    """Remove bytes from the raw store that are kept apart since today and that no other delivery has there."""
    shut = {now.stored[path] for path in now.closed} - (
        {before.stored[path] for path in before.closed} if before else set()
    )
    if before and shut:
        open_elsewhere = {
            sha for r in records(depot).values() for path, sha in r.stored.items() if path not in r.closed
        }
        for sha in shut - open_elsewhere:
            depot.raw_path(sha).unlink(missing_ok=True)


def rebuild_bag(depot: Depot, record: Record, target: Path) -> Path:
    """The bag as it came, put together from the depot, so that it is read the same way as on arrival."""
    shutil.copytree(depot.delivery_path(record.delivery_id) / "bag", target)
    for path, sha256 in record.stored.items():
        closed = path in record.closed
        source = depot.closed_path(record.delivery_id, sha256) if closed else depot.raw_path(sha256)
        place = target / "data" / path
        place.parent.mkdir(parents=True, exist_ok=True)
        try:
            os.link(source, place)
        except FileNotFoundError:
            continue  # the bag's own checksums then tell which file the depot has lost
        except OSError:
            shutil.copyfile(source, place)
    return target


def copy_tag_files(payload: Path, target: Path) -> None:
    """Copy the bag's own files, which lie round the payload, so that the bag can be put together again."""
    for path in payload.parent.rglob("*"):
        if path.is_file() and not path.is_symlink() and not path.is_relative_to(payload):
            place = target / path.relative_to(payload.parent)
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, place)
