"""The rows that a judged delivery contributes to every table. Pure: verdicts in, frames out.

What becomes of each trial is decided in ``pipelines.judging.standings``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from checks.findings import CheckRun, Finding, rows_of
from pipelines.consent.veil import Veil
from pipelines.judging.pictures import veiled
from pipelines.judging.standings import ACCEPTED, WITHHELD, Judged, findings_of, returning, standing_of
from pipelines.science.frames import Rows
from schemas import core, outcomes_study, quality
from schemas.catalogue import tables_of
from schemas.convert.to_arrow import empty_frame
from schemas.model import Layer, Table
from schemas.received import Received
from schemas.told_later import told_by
from schemas.trial import FORWARD, RIGHT, UP

if TYPE_CHECKING:
    import pandas as pd

#: Tables that each accepted running trial fills.
TRIAL_TABLES: tuple[Table, ...] = tuple(
    table
    for table in tables_of(Layer.OUTCOME, Layer.QUALITY)
    if {"trial_id", "raw_sha256"} <= set(table.column_names) and table is not quality.OVERRIDES  # made by people
)

#: Tables that a delivery contributes to; all other tables are filled from these, or by later analyses.
DELIVERY_TABLES: tuple[Table, ...] = (
    core.DELIVERIES,
    core.DELIVERY_FILES,
    core.RUNNERS,
    core.SESSIONS,
    core.TRIALS,
    core.STANDING_POSTURES,
    core.MUSCLE_REFERENCES,
    *(table for table in tables_of(Layer.CORE) if table.pools),
    *TRIAL_TABLES,
    outcomes_study.ENERGY_BOUTS,
    quality.FINDINGS,
    quality.CHECK_RUNS,
    quality.STANDINGS,
    quality.OVERRIDES,
    quality.FINDING_PICTURES,
)


def tables_of_delivery(judged: Judged) -> dict[Table, pd.DataFrame]:
    """The rows of a delivery that was taken in, for core, outcome and quality tables; deliveries itself is not here."""
    findings = findings_of(judged)
    standings = {trial_id: standing_of(trial_id, judged, findings) for trial_id in judged.rows}
    accepted = [trial_id for trial_id, standing in standings.items() if standing == ACCEPTED]
    runs = judged.runs
    shown = {f.finding_id for f in findings}
    pictures = [p for v in judged.verdicts.values() for p in v.pictures if p["finding_id"] in shown]
    sessions = {judged.rows[t]["session_id"] for t in accepted}
    runners = {judged.rows[t]["participant_id"] for t in accepted}
    return {
        **delivery_files(judged.delivery_id, judged.received, judged.veil),
        core.RUNNERS: _sent(judged, core.RUNNERS, "sent_participants", "participant_id", runners),
        core.SESSIONS: _sent(judged, core.SESSIONS, "sent_sessions", "session_id", sessions),
        core.TRIALS: frame(core.TRIALS, [_trial_row(t, judged, findings) for t in accepted]),
        core.STANDING_POSTURES: frame(
            core.STANDING_POSTURES, [row for t in accepted for row in _posture_rows(t, judged)]
        ),
        core.MUSCLE_REFERENCES: frame(
            core.MUSCLE_REFERENCES, [row for t in accepted for row in _reference_rows(t, judged)]
        ),
        **{table: _outcomes(table, accepted, judged) for table in TRIAL_TABLES},
        quality.STANDINGS: frame(
            quality.STANDINGS,
            [_standing_row(t, standing, judged, findings) for t, standing in standings.items()],
        ),
        quality.OVERRIDES: frame(quality.OVERRIDES, list(_override_rows(judged, findings))),
        **quality_tables(findings, runs, veiled(pictures, judged.veil)),
    }


def quality_tables(
    findings: list[Finding], runs: list[CheckRun], pictures: list[dict[str, Any]] | None = None
) -> dict[Table, pd.DataFrame]:
    """Findings, check runs and pictures."""
    return {
        quality.FINDINGS: frame(quality.FINDINGS, rows_of(findings)),
        quality.CHECK_RUNS: frame(quality.CHECK_RUNS, rows_of(runs)),
        quality.FINDING_PICTURES: frame(quality.FINDING_PICTURES, pictures or []),
    }


def delivery_files(delivery_id: str, received: Received, veil: Veil) -> dict[Table, pd.DataFrame]:
    """The payload files of a delivery, without those of withheld trials."""
    rows = [
        {"delivery_id": delivery_id, "file": veil.text(f.path), "file_bytes": f.bytes, "file_sha256": f.sha256}
        for f in veil.files_shown(received.files)
    ]
    return {core.DELIVERY_FILES: frame(core.DELIVERY_FILES, rows)}


def frame(table: Table, rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """``rows`` as a data frame of the table, each key once (the first row stays)."""
    import pandas as pd

    if not rows:
        return empty_frame(table)
    return pd.DataFrame(rows, columns=list(table.column_names)).drop_duplicates(list(table.key), ignore_index=True)


def _sent(judged: Judged, table: Table, sent: str, key: str, wanted: set[str]) -> pd.DataFrame:
    rows = judged.received.tables[sent]
    rows = rows[rows[key].isin(wanted)].drop_duplicates(key, ignore_index=True)
    return rows.assign(site=judged.site, **judged.provenance)[list(table.column_names)]


def _made_from(trial_id: str, judged: Judged) -> dict[str, Any]:
    return {**judged.provenance, "raw_sha256": judged.shas[trial_id]}


def _trial_row(trial_id: str, judged: Judged, findings: list[Finding]) -> dict[str, Any]:
    row = judged.rows[trial_id]
    own = {name: row.get(name) for name in core.TRIALS.column_names}
    return {
        **own,
        **judged.verdicts[trial_id].facts,
        "site": judged.site,
        "has_notes": any(f.trial_id == trial_id for f in findings),
        "accepted_by_override": bool(returning(trial_id, findings)),
        **_made_from(trial_id, judged),
    }


def _posture_rows(trial_id: str, judged: Judged) -> Iterable[dict[str, Any]]:
    posture, row = judged.verdicts[trial_id].posture, judged.rows[trial_id]
    for marker, place in posture.markers.items() if posture else ():
        yield {
            "trial_id": trial_id,
            "session_id": row["session_id"],
            "condition": row["condition"],
            "marker": marker,
            "forward_m": float(place[FORWARD]),
            "up_m": float(place[UP]),
            "right_m": float(place[RIGHT]),
            **_made_from(trial_id, judged),
        }


def _reference_rows(trial_id: str, judged: Judged) -> Iterable[dict[str, Any]]:
    for (muscle, side), reference in judged.references.get(trial_id, {}).items():
        yield {
            "trial_id": trial_id,
            "session_id": judged.rows[trial_id]["session_id"],
            "muscle": muscle,
            "side": side,
            "normalisation": reference.kind,
            "reference_uv": reference.amplitude_uv if reference.gain_known else None,
            "reference_recorded_uv": None if reference.gain_known else reference.amplitude_uv,
            **_made_from(trial_id, judged),
        }


def _outcomes(table: Table, accepted: list[str], judged: Judged) -> pd.DataFrame:
    found = ((judged.shas[t], judged.verdicts[t].outcomes.get(table.name)) for t in accepted)
    parts = [(sha, rows) for sha, rows in found if rows is not None and len(rows)]
    if not parts:
        return empty_frame(table)
    shas = [sha for sha, rows in parts for _ in range(len(rows))]
    frame = Rows.joined([rows for _, rows in parts]).frame().assign(**judged.provenance, raw_sha256=shas)
    return frame[list(table.column_names)]


def _override_rows(judged: Judged, findings: list[Finding]) -> Iterable[dict[str, Any]]:
    for override in (o for o in judged.overrides if o.trial_id not in judged.withheld and o.trial_id in judged.rows):
        own = [f for f in returning(override.trial_id, findings) if f.check_name == override.check_name]
        yield {
            "trial_id": override.trial_id,
            "site": judged.site,
            "check_name": override.check_name,
            "finding_count": sum(judged.is_set_aside(f) for f in own),
            "reason": judged.veil.text(override.decided.why),
            "decided_by": override.decided.by,
            "decided_utc": override.decided.utc,
            **_made_from(override.trial_id, judged),
        }


def _standing_row(trial_id: str, standing: str, judged: Judged, findings: list[Finding]) -> dict[str, Any]:
    counts = Counter(f.trial_id for f in findings)
    told = judged.rows[trial_id] if standing != WITHHELD else {}
    name = judged.veil.names.get(trial_id, trial_id)
    return {
        "trial_id": name,
        "site": judged.site,
        "participant_id": told.get("participant_id"),
        "visit": told.get("visit"),
        "condition": told.get("condition"),
        "kind": told.get("kind"),
        "trial_order": told.get("trial_order"),
        "standing": standing,
        "finding_count": counts[name],
        "superseded": False,  # known only among all deliveries: set where the warehouse is built
        "accepted_by_override": standing == ACCEPTED and bool(returning(trial_id, findings)),
        "study_day": told.get("study_day"),
        "resend_reason": judged.veil.text(told["resend_reason"]) if told.get("resend_reason") else None,
        "told_by_delivery": told_by(judged.received, told) if told else None,
        **judged.provenance,
    }
