"""Judges the trials of one delivery in isolated workers: standing trials first, since running trials need them.

What is looked at in one trial is in ``pipelines.judge``; here is only who is judged with what.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from checks.registry import Subject
from checks.run import Context, Report, run_checks
from pipelines.arrivals import Record, records
from pipelines.desk import Desk, Tell
from pipelines.judge import TrialJob, Verdict, judge_trial
from pipelines.standings import ACCEPTED, Judged, findings_of, standing_of
from pipelines.storage import Depot, read_table
from schemas.reading import Reading
from schemas.received import Received
from schemas.trial import Posture

if TYPE_CHECKING:
    from pipelines.intake.to_trial import TrialRow

#: (session, condition)
Occasion = tuple[str, str]


def judge_delivery(
    desk: Desk, delivery_id: str, received: Received, report: Report, withheld: frozenset[str], tell: Tell
) -> Judged:
    """Judge every trial that is not withheld; its bytes must be in the raw store. ``tell``: called after each."""
    rows = trial_rows(received)
    shas = _shas(rows, received)
    open_rows = {t: row for t, row in rows.items() if t not in withheld}
    verdicts: dict[str, Verdict] = {
        trial_id: Verdict(Reading(trial_id, str(row["file"] or ""), "missing", "the file is not in the bag"))
        for trial_id, row in open_rows.items()
        if trial_id not in shas
    }
    judged = Judged(delivery_id, str(received.site), desk.stamp, received, report, withheld, rows, verdicts, shas)
    postures = other_postures(desk, received)
    ready = {t: row for t, row in open_rows.items() if t in shas and row["kind"] is not None}
    standing = [t for t, row in ready.items() if row["kind"] == "standing"]
    others = [t for t in ready if t not in set(standing)]
    for group in (standing, others):
        jobs = [_job(desk, judged, trial_id, postures) for trial_id in group]
        for job, ended in zip(jobs, desk.isolated.map(judge_trial, jobs), strict=True):
            reading = Reading(job.row.trial_id, job.row.file, ended.problem, ended.detail)
            verdicts[job.row.trial_id] = ended.value if ended.problem is None else Verdict(reading)
            tell(len(verdicts), len(open_rows))
        if group is standing:
            postures |= _own_postures(judged, standing)
    for trial_id, verdict in verdicts.items():
        verdicts[trial_id] = verdict.with_report(_check_reading(desk, judged, verdict))
    return replace(judged, waiting=_waiting(judged, postures))


def trial_rows(received: Received) -> dict[str, dict[str, Any]]:
    """What the tables say about each trial, by trial id: its row with its session's and its runner's; None if missing.

    Only the first row of an id that stands twice counts; a check returns such trials.
    """
    tables = received.tables
    trials = tables["sent_trials"].dropna(subset=["trial_id"]).drop_duplicates("trial_id")
    sessions = tables["sent_sessions"].dropna(subset=["session_id"]).drop_duplicates("session_id")
    runners = tables["sent_participants"].dropna(subset=["participant_id"]).drop_duplicates("participant_id")
    runners = runners.drop(columns="mass_kg")  # forces are divided by the mass of the day, the session's
    joined = trials.merge(sessions, on="session_id", how="left").merge(runners, on="participant_id", how="left")
    plain = joined.astype(object).where(joined.notna(), None)
    return {row["trial_id"]: {str(name): value for name, value in row.items()} for row in plain.to_dict("records")}


def _shas(rows: Mapping[str, Mapping[str, Any]], received: Received) -> dict[str, str]:
    by_path = {f.path: f.sha256 for f in received.files}
    return {t: by_path[row["file"]] for t, row in rows.items() if row["file"] in by_path}


def _job(desk: Desk, judged: Judged, trial_id: str, postures: Mapping[Occasion, Posture]) -> TrialJob:
    row, sha = judged.rows[trial_id], judged.shas[trial_id]
    profile = desk.study.study.sites[judged.site].profile
    running = row["kind"] == "running"
    return TrialJob(
        path=desk.depot.raw_path(sha),
        row=_facts(row, judged.site, profile.surface, sha),
        delivery_id=judged.delivery_id,
        profile=profile,
        study=desk.study.study,
        stamp=desk.stamp,
        posture=postures.get((row["session_id"], row["condition"])) if running else None,
    )


def _facts(row: Mapping[str, Any], site: str, surface: str, sha256: str) -> TrialRow:
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
        stature_m=row["stature_m"],
        leg_length_m=row["leg_length_m"],
        set_speed_m_per_s=row["set_speed_m_per_s"],
        raw_sha256=sha256,
        file=row["file"],
    )


def _check_reading(desk: Desk, judged: Judged, verdict: Verdict) -> Report:
    context = Context(study=desk.study.study, delivery_id=judged.delivery_id, site=judged.site, reading=verdict.reading)
    return run_checks(Subject.READING, context, desk.stamp)


def _own_postures(judged: Judged, standing: list[str]) -> dict[Occasion, Posture]:
    """Postures of this delivery's accepted standing trials; of several on one occasion the first counts."""
    findings = findings_of(judged)
    found: dict[Occasion, Posture] = {}
    for trial_id in sorted(standing, key=lambda t: (judged.rows[t]["trial_order"] or 0, t)):
        row, posture = judged.rows[trial_id], judged.verdicts[trial_id].posture
        if posture is not None and standing_of(trial_id, judged, findings) == ACCEPTED:
            found.setdefault((row["session_id"], row["condition"]), posture)
    return found


def _waiting(judged: Judged, postures: Iterable[Occasion]) -> tuple[Occasion, ...]:
    """Occasions of running trials that were judged without a standing posture."""
    run = {
        (row["session_id"], row["condition"])
        for trial_id, row in judged.rows.items()
        if trial_id in judged.verdicts and row["kind"] == "running" and row["session_id"] and row["condition"]
    }
    return tuple(sorted(run - set(postures)))


def other_postures(desk: Desk, received: Received) -> dict[Occasion, Posture]:
    """Postures of accepted standing trials that other deliveries of the site brought; the newest counts.

    Only what today's code and study made is used: a delivery judged earlier waits until the other is judged again.
    """
    import numpy as np

    found: dict[Occasion, Posture] = {}
    for record in current_records(desk):
        if record.site != received.site or record.number == received.number:
            continue
        path = desk.depot.delivery_path(record.delivery_id) / "standing_postures.parquet"
        for trial_id, rows in read_table(path).groupby("trial_id", sort=True):
            first = rows.iloc[0]
            places = rows[["forward_m", "up_m", "right_m"]].to_numpy(dtype=np.float64)
            markers = dict(zip(rows["marker"], places, strict=True))
            occasion = (str(first["session_id"]), str(first["condition"]))
            found[occasion] = Posture(str(trial_id), occasion[1], markers)
    return found


def current_records(desk: Desk) -> list[Record]:
    """Deliveries that were taken in and judged by today's code and study, in order of site and number."""
    return [r for r in records(desk.depot).values() if r.taken_in and r.made_by(desk.stamp)]


def column(depot: Depot, record: Record, table: str, name: str) -> list[str]:
    """One column of a table of a delivery that was taken in."""
    path: Path = depot.delivery_path(record.delivery_id) / f"{table}.parquet"
    return read_table(path)[name].tolist() if path.exists() else []
