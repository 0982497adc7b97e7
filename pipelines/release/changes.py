"""What is new in a release against the one before, in figures; of trials that are gone only how many.

A trial that is gone may be that of a runner who withdrew, so none is named.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.depot.storage import read_table
from pipelines.depot.store import Store

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Changes:
    """added, mended: trial ids (mended: with another file). gone: how many. versions: sentences on code and study."""

    added: tuple[str, ...]
    mended: tuple[str, ...]
    gone: int
    rows: tuple[tuple[str, int, int], ...]  # table, before, now
    versions: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Markdown."""
        lines = [
            f"- Trials added: {len(self.added)}",
            f"- Trials replaced by a corrected recording: {len(self.mended)}",
        ]
        lines.append(f"- Trials no longer in it: {self.gone} (not named: a runner may have withdrawn)")
        lines += [f"- {sentence}" for sentence in self.versions]
        if self.mended:
            lines += ["", "Replaced: " + ", ".join(self.mended)]
        if self.rows:
            lines += ["", "| Table | Rows before | Rows now |", "|---|---|---|"]
            lines += [f"| {table} | {before} | {now} |" for table, before, now in self.rows]
        return lines


def compare(before: Store | None, now: Path) -> Changes:
    """Compare the tables of a release with those, in a folder, of the next; ``before`` None: this is the first."""
    import pyarrow.parquet as parquet

    trials = read_table(now / "trials.parquet")
    if before is None:
        return Changes(tuple(trials["trial_id"]), (), 0, ())
    older = read_table(before.local("trials.parquet"))
    shas = dict(zip(older["trial_id"], older["raw_sha256"], strict=True))
    ids = set(trials["trial_id"])
    rows = []
    for path in sorted(now.glob("*.parquet")):
        was = parquet.read_metadata(before.local(path.name)).num_rows if before.exists(path.name) else 0
        count = parquet.read_metadata(path).num_rows
        if was != count:
            rows.append((path.stem, was, count))
    return Changes(
        added=tuple(t for t in trials["trial_id"] if t not in shas),
        mended=tuple(
            t for t, sha in zip(trials["trial_id"], trials["raw_sha256"], strict=True) if shas.get(t) not in (None, sha)
        ),
        gone=len(shas.keys() - ids),
        rows=tuple(rows),
        versions=_versions(older, trials),
    )


def _versions(older: pd.DataFrame, newer: pd.DataFrame) -> tuple[str, ...]:
    told = []
    for column, what in (("code_version", "code"), ("study_version", "study file")):
        was, now = (", ".join(sorted(set(frame[column]))) or "none" for frame in (older, newer))
        if was != now:
            told.append(f"Made with another {what}: {now} (before: {was}); every outcome was computed again")
    return tuple(told)
