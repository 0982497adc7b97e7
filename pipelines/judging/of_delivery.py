"""Judges the trials of one delivery in isolated workers: standing trials first, since running trials need them.

What is looked at in one trial is in ``pipelines.judging.judge``; here is only who is judged with what.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from checks.findings import Report
from checks.registry import Subject
from checks.run import Context, run_checks
from pipelines.depot.consents import trial_files
from pipelines.depot.desk import Desk, Tell
from pipelines.depot.earlier import current_records
from pipelines.depot.overrides import in_force
from pipelines.depot.storage import read_table
from pipelines.judging.judge import TrialJob, Verdict, judge_trial
from pipelines.judging.muscle_references import session_references
from pipelines.judging.same_signals import copies_by_shape
from pipelines.judging.standings import ACCEPTED, Judged, findings_of, standing_of
from pipelines.judging.trial_jobs import shas_of, trial_job, trial_rows
from schemas.reading import Reading
from schemas.received import Received
from schemas.trial import Posture

if TYPE_CHECKING:
    from pipelines.science.muscles.amplitudes import Reference
    from pipelines.science.muscles.signal import Key

#: Problems after which nobody knows what texts are in the file.
_NOT_TO_ITS_END = frozenset({"crashed", "too_slow", "too_large"})

#: (session, condition)
Occasion = tuple[str, str]


def judge_delivery(
    desk: Desk, delivery_id: str, received: Received, report: Report, withheld: frozenset[str], tell: Tell
) -> Judged:
    """Judge every trial that is not withheld; its bytes must be in the raw store. ``tell``: called after each."""
    rows = trial_rows(received)
    shas = shas_of(rows, received)
    open_rows = {t: row for t, row in rows.items() if t not in withheld}
    verdicts: dict[str, Verdict] = {
        trial_id: Verdict(Reading(trial_id, str(row["file"] or ""), "missing", "the file is not in the bag"))
        for trial_id, row in open_rows.items()
        if trial_id not in shas
    }
    judged = Judged(delivery_id, str(received.site), desk.stamp, received, report, withheld, rows, verdicts, shas)
    judged = replace(judged, overrides=in_force(desk.depot, received.site, trial_files(received)))
    postures = other_postures(desk, received)
    ready = {t: row for t, row in open_rows.items() if t in shas and row["kind"] is not None}
    standing = [t for t, row in ready.items() if row["kind"] == "standing"]
    others = [t for t in ready if t not in set(standing)]
    references = session_references(desk, judged, others)
    for group in (standing, others):
        jobs = [_job(desk, judged, trial_id, postures, references) for trial_id in group]
        for job, ended in zip(jobs, desk.isolated.map(judge_trial, jobs), strict=True):
            reading = Reading(job.row.trial_id, job.row.file, ended.problem, ended.detail)
            verdicts[job.row.trial_id] = ended.value if ended.problem is None else Verdict(reading)
            tell(len(verdicts), len(open_rows))
        if group is standing:
            postures |= _own_postures(judged, standing)
    verdicts |= _with_copies(desk, judged)
    for trial_id, verdict in verdicts.items():
        verdicts[trial_id] = verdict.with_report(_check_reading(desk, judged, verdict))
    telling = {trial_id for trial_id, verdict in verdicts.items() if verdict.reading.identifying}
    unread = frozenset(t for t, verdict in verdicts.items() if verdict.reading.problem in _NOT_TO_ITS_END)
    return replace(judged, withheld=withheld | telling, waiting=_waiting(judged, postures), unread=unread)


def _with_copies(desk: Desk, judged: Judged) -> dict[str, Verdict]:
    """The verdicts, each with the trial it is a copy of, if it is one."""
    shapes = [v.outcomes["trial_shapes"] for v in judged.verdicts.values() if "trial_shapes" in v.outcomes]
    copies, shaped = copies_by_shape(desk, judged.received, shapes, judged.shas)
    return {
        trial: replace(v, reading=replace(v.reading, copy_of=copies.get(trial), shaped=trial in shaped))
        for trial, v in judged.verdicts.items()
    }


def _job(
    desk: Desk,
    judged: Judged,
    trial_id: str,
    postures: Mapping[Occasion, Posture],
    references: Mapping[str, Mapping[Key, Reference]],
) -> TrialJob:
    row = judged.rows[trial_id]
    posture = postures.get((row["session_id"], row["condition"])) if row["kind"] == "running" else None
    return trial_job(desk, judged, trial_id, posture, references.get(row["session_id"]))


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
