"""What each trial of a delivery is judged with: its row, files and channels, as far as consent goes.

Who is judged when is in ``pipelines.judging.of_delivery``; the judging itself in ``pipelines.judging.judge``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.depot.desk import Desk
from pipelines.identity.word_list import names_beside
from pipelines.judging.judge import TrialJob
from pipelines.judging.standings import Judged
from schemas.consent import Consent
from schemas.delivery import SENT_CHANNELS
from schemas.privacy import TRIAL
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
    channels: Sequence[dict[str, Any]],
    posture: Posture | None = None,
    references: Mapping[Key, Reference] | None = None,
) -> TrialJob:
    """The job of judging one trial.

    payload: the folder its files are read from. channels: of ``channel_rows``, those of the trial.
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
        channel_rows=tuple(channels),
        references=references or {},
        known=names_beside(desk.study.path),
    )


def channel_rows(consent: Consent) -> dict[str, list[dict[str, Any]]]:
    """Trial -> what ``channels.csv`` says of its channels, only as far as the runner's consent goes; a label once."""
    found: dict[str, dict[str | None, dict[str, Any]]] = {}
    for row in plain_rows(consent.rows(SENT_CHANNELS)):
        found.setdefault(row[TRIAL], {}).setdefault(row["label"], row)
    return {trial: list(rows.values()) for trial, rows in found.items()}


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
        belt_speed_m_per_s=row["belt_speed_m_per_s"],
        raw_sha256=sha256,
        file=row["file"],
    )
