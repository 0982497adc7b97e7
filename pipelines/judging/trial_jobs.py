"""What each trial of a delivery is judged with: its row, files and channels, as far as consent goes.

Who is judged when is in ``pipelines.judging.of_delivery``; the judging itself in ``pipelines.judging.judge``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.depot.desk import Desk
from pipelines.identity.word_list import names_beside
from pipelines.judging.judge import TrialJob
from pipelines.judging.standings import Judged
from schemas.delivery import SENT_CHANNELS
from schemas.received import Received, plain_rows
from schemas.trial import Posture

if TYPE_CHECKING:
    from pipelines.intake.to_trial import TrialRow
    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key


def shas_of(rows: Mapping[str, Mapping[str, Any]], received: Received) -> dict[str, str]:
    """Checksum of each trial's file, of those that are in the bag."""
    by_path = {f.path: f.sha256 for f in received.files}
    return {t: by_path[row["file"]] for t, row in rows.items() if row["file"] in by_path}


def trial_job(
    desk: Desk,
    judged: Judged,
    payload: Path,
    trial_id: str,
    posture: Posture | None = None,
    references: Mapping[Key, Reference] | None = None,
) -> TrialJob:
    """The job of judging one trial. Muscle channels travel only as far as the runner's consent.

    payload: the folder its files are read from.
    """
    row, sha = judged.rows[trial_id], judged.shas[trial_id]
    profile = desk.study.study.sites[judged.site].profile
    shas = {f.path: f.sha256 for f in judged.received.files}
    second = row["sidecar"] if row["sidecar"] in shas else None
    return TrialJob(
        path=payload / row["file"],
        row=_trial_row(row, judged.site, profile.surface, sha),
        delivery_id=judged.delivery_id,
        profile=profile,
        study=desk.study.study,
        stamp=desk.stamp,
        posture=posture,
        second_path=payload / second if second else None,
        second_file=second,
        second_sha256=shas[second] if second else None,
        channel_rows=_channel_rows(judged, trial_id),
        references=references or {},
        known=names_beside(desk.study.path),
    )


def _channel_rows(judged: Judged, trial_id: str) -> tuple[dict[str, Any], ...]:
    channels = judged.consent.rows(SENT_CHANNELS)
    return tuple(plain_rows(channels[channels["trial_id"] == trial_id].drop_duplicates("label")))


def _trial_row(row: Mapping[str, Any], site: str, surface: str, sha256: str) -> TrialRow:
    from pipelines.intake.to_trial import TrialRow

    return TrialRow(
        trial_id=row["trial_id"],
        site=site,
        kind=row["kind"],
        condition=row["condition"] or "",
        surface=row["surface"] or surface,
        participant_id=row["participant_id"],
        session_id=row["session_id"],
        visit=row["visit"],
        mass_kg=row["mass_kg"],
        sex=row["sex"],
        stature_m=row["stature_m"],
        leg_length_m=row["leg_length_m"],
        set_speed_m_per_s=row["set_speed_m_per_s"],
        raw_sha256=sha256,
        file=row["file"],
    )
