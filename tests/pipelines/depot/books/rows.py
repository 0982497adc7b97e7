"""Rows of books for tests."""

from __future__ import annotations

from typing import Any

from pipelines.depot.books.rows import MADE, Payload, Record, Result, TrialVersion


def a_record(name: str, **more: Any) -> Record:
    """A delivery that was taken in, named ``site-number``."""
    site, _, number = name.rpartition("-")
    plain = {
        "delivery_id": name,
        "arrival": f"{site}/{name}",
        "status": "taken_in",
        "site": site,
        "number": int(number),
        "fingerprint": f"print of {name}",
        "received_utc": "2026-01-01T00:00:00+00:00",
        "code_version": "code",
        "study_version": "study",
        "result": f"result of {name}",
        "held": True,
    }
    return Record(**(plain | more))


def a_trial(delivery: str, trial: str, **more: Any) -> TrialVersion:
    """An accepted running trial with a file of its own."""
    plain = {
        "delivery_id": delivery,
        "trial_id": trial,
        "site": delivery.rpartition("-")[0],
        "standing": "accepted",
        "kind": "running",
        "session_id": "S1",
        "condition": "unshod",
        "raw_sha256": f"sha of {trial} in {delivery}",
        "parts": (f"{trial} in {delivery}", "", "a", "b", "c", "d"),
    }
    return TrialVersion(**(plain | more))


def a_result(
    name: str,
    *trials: TrialVersion,
    waiting: tuple[tuple[str, str], ...] = (),
    made: str = "today",
    trial_stamps: dict[str, dict[str, str]] | None = None,
    **more: Any,
) -> Result:
    """A delivery with a table and these trials. made: what it was made with."""
    payload = Payload({"trials.csv": f"sha of {name}"})
    return Result(a_record(name, **more), payload, waiting, trials, {MADE: made}, trial_stamps or {})
