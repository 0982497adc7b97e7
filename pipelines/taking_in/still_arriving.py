"""Deliveries that are still being copied into the inbox: they wait for the next run instead of being stopped.

Told by a file NAME.uploading beside the delivery NAME, which whoever uploads removes at the end; or by sizes and times
of its files, which are looked at twice if any of them is young.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from pathlib import Path

from pipelines.depot.arrivals import UPLOADING, Arrival
from pipelines.errors import Unusable

#: Seconds for which no file may have changed, where another number is wanted than the default.
SETTLE_VARIABLE = "MANYSTRIDES_SETTLE_S"
_LONGEST_S = 600.0
_SETTLE_S = 2.0  # own choice: programs that copy write more often than that


def settle_seconds() -> float:
    """For how long no file of a delivery may have changed. Raises Unusable if the environment names no number."""
    named = os.environ.get(SETTLE_VARIABLE, "")
    try:
        seconds = float(named) if named else _SETTLE_S
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds <= _LONGEST_S:
        seen, expected = f"{SETTLE_VARIABLE} is {named!r}.", f"seconds from 0 to {_LONGEST_S:g}."
        raise Unusable(seen, expected, "Correct it, or take it out of the environment.")
    return seconds


def still_arriving(arrivals: Iterable[Arrival], settle_s: float) -> set[str]:
    """The keys of those that are not whole yet. settle_s: no file may have changed for as long; 0: only marks count."""
    asked = list(arrivals)
    waiting = {one.key for one in asked if one.path.with_name(one.path.name + UPLOADING).exists()}
    young = {one: before for one in asked if one.key not in waiting and (before := _young(one, settle_s)) is not None}
    if young:
        time.sleep(settle_s)  # once for all of them
    return waiting | {one.key for one, before in young.items() if _signature(one) != before}


def _young(arrival: Arrival, settle_s: float) -> str | None:
    """The signature of an arrival of which a file changed within the last seconds; None if none did."""
    return _signature(arrival) if settle_s and time.time() - _newest(arrival.path) < settle_s else None


def _newest(path: Path) -> float:
    """When its youngest file or folder changed, or came here under the time it had before; seconds since 1970."""
    found = [path, *path.rglob("*")] if path.is_dir() else [path]
    status = [one.lstat() for one in found if os.path.lexists(one)]
    return max((max(s.st_mtime, s.st_ctime) for s in status), default=0.0)


def _signature(arrival: Arrival) -> str:
    try:
        return arrival.signature()
    except OSError:  # a file that went while it was looked at
        return ""
