"""The releases of a depot: which there are, what each holds in figures, and which no longer count."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from pipelines.depot.storage import Depot, write_json


@dataclass(frozen=True)
class Entry:
    """One release. content_sha256: over its tables; superseded_why: empty while it counts."""

    number: int
    utc: str
    actor: str
    why: str
    code_version: str
    study_version: str
    trial_count: int
    content_sha256: str
    superseded_utc: str = ""
    superseded_why: str = ""

    @property
    def name(self) -> str:
        """Name of its folder."""
        return f"release-{self.number:04d}"


def read_shelf(depot: Depot) -> list[Entry]:
    """All releases, oldest first."""
    path = _index(depot)
    content = json.loads(path.read_text(encoding="utf-8")) if path.exists() else []
    return [Entry(**entry) for entry in content]


def write_shelf(depot: Depot, entries: list[Entry]) -> None:
    """Replace the list of releases in one step."""
    write_json(_index(depot), [asdict(entry) for entry in entries])


def supersede_all(depot: Depot, utc: str, why: str) -> list[Entry]:
    """Mark every release that still counts as superseded; returns those marked now."""
    entries = read_shelf(depot)
    marked = [replace(e, superseded_utc=utc, superseded_why=why) if not e.superseded_utc else e for e in entries]
    now = [new for old, new in zip(entries, marked, strict=True) if new != old]
    if now:
        write_shelf(depot, marked)
    return now


def folder_of(depot: Depot, entry: Entry) -> Path:
    """Where a release lies."""
    return depot.releases / entry.name


def _index(depot: Depot) -> Path:
    return depot.releases / "releases.json"
