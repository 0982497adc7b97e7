"""What the books keep of each trial of a judged delivery, so that others are found by it without opening its tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from pipelines.depot.books.rows import TrialVersion
from pipelines.judging.standings import WITHHELD, Judged
from schemas import core, quality
from schemas.model import Table

if TYPE_CHECKING:
    import pandas as pd


def trial_versions(judged: Judged, tables: Mapping[Table, pd.DataFrame]) -> list[TrialVersion]:
    """One row per trial; of a withheld one only the name it goes by in the depot, and that it is withheld."""
    rows = tables[quality.STANDINGS]
    standings = dict(zip(rows["trial_id"], rows["standing"], strict=True))
    postures = set(tables[core.STANDING_POSTURES]["trial_id"])
    by_path = {f.path: f.sha256 for f in judged.received.files}
    found = []
    for trial_id, row in judged.rows.items():
        name = judged.veil.names.get(trial_id, trial_id)
        version = TrialVersion(judged.delivery_id, name, judged.site, str(standings[name]))
        if version.standing != WITHHELD:
            version = TrialVersion(
                *(judged.delivery_id, name, judged.site, version.standing),
                kind=row["kind"],
                session_id=row["session_id"],
                condition=row["condition"],
                raw_sha256=judged.shas.get(trial_id),
                second_sha256=by_path.get(str(row["sidecar"])),
                gives_posture=trial_id in postures,
            )
        found.append(version)
    return found
