"""Simulated trials through files and the pipeline, each outcome beside its truth."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.detection.specimens import STUDY, Case, Specimen, specimen
from benchmarks.detection.way import job_of
from demo_site_uploads.simulator.breathing import Bout
from demo_site_uploads.simulator.delivery import Session
from demo_site_uploads.simulator.muscle import BASELINE_UV, CALF, GROUPS, SHIN, TrueBurst, amplitude_uv
from demo_site_uploads.simulator.runner import RUNNERS
from demo_site_uploads.simulator.trial import SimulatedTrial
from demo_site_uploads.simulator.truth import SAGITTAL, Truth, of_trial, truth_of
from pipelines.judging.judge import workspace_of
from pipelines.science.joints.loading import LOADS
from pipelines.science.joints.outcomes import ANGLES
from pipelines.science.workspace import Workspace
from schemas.outcomes_of_trials import OF_SIDES, OF_SPREAD

#: A footfall is that true one which began so near. Own choice: the next of the same foot is ten times as far.
SAME_S = 0.06
_JOINTS = (*ANGLES, *LOADS)
#: Which burst of the table is the simulator's one burst of each group: the calf works in stance, the shin before it.
_BURST = {CALF: "stance", SHIN: "pre_contact"}


@dataclass(frozen=True)
class Compared:
    """One value. uncertainty: the standard one that is stated with it, NaN where none is."""

    site: str
    trial_id: str
    outcome: str
    found: float
    true: float
    uncertainty: float = math.nan


@dataclass(frozen=True)
class Seen:
    """What was compared of one trial, and how many footfalls there were that nobody found, and the other way round."""

    values: tuple[Compared, ...]
    missed: int = 0
    invented: int = 0


def compared(case: Case) -> Seen:
    """One running trial: every outcome whose truth is known."""
    running = specimen(case)
    still = specimen(replace(case, kind="standing", second=False)).trial
    assert running.trial is not None
    assert still is not None
    work = workspace_of(job_of(running))[0]
    truths = truth_of(running.trial, still, STUDY.processing_at(case.site))
    footfalls = [dict(row) for row in work.classed_footfalls.records]
    pairs = [(row, true) for row in footfalls if (true := _nearest(row, truths)) is not None]
    doubts = _doubts(work)
    values = [*_of_footfalls(case, pairs, doubts), *_of_joints(case, work, pairs, doubts)]
    values += _of_trial(case, work, [true for _, true in pairs], doubts)
    values += _of_muscles(case, work, running, pairs)
    met = {id(true) for _, true in pairs}
    return Seen(tuple(values), sum(id(x) not in met for x in truths), len(footfalls) - len(pairs))


def _nearest(row: Mapping[str, object], truths: Iterable[Truth]) -> Truth | None:
    contact = float(str(row["contact_s"]))
    near = [x for x in truths if x.side == row["side"] and abs(x.contact_s - contact) < SAME_S]
    return min(near, key=lambda x: abs(x.contact_s - contact), default=None)


def _doubts(work: Workspace) -> dict[str, float]:
    return {str(r["outcome"]): _number(r["standard_uncertainty_value"]) for r in work.outcome_uncertainties.records}


def _of_footfalls(
    case: Case, pairs: Iterable[tuple[Mapping[str, object], Truth]], doubts: Mapping[str, float]
) -> Iterator[Compared]:
    for row, truth in pairs:
        for outcome, true in truth.values.items():
            if outcome in row:
                found = _number(row[outcome])
                yield Compared(case.site, case.trial_id, outcome, found, true, doubts.get(outcome, math.nan))


def _of_joints(
    case: Case,
    work: Workspace,
    pairs: Iterable[tuple[Mapping[str, object], Truth]],
    doubts: Mapping[str, float],
) -> Iterator[Compared]:
    truth = {row["footfall_number"]: true for row, true in pairs}
    for row in work.footfall_joints.records:
        if row["plane"] != "sagittal" or row["footfall_number"] not in truth:
            continue
        stated = f"{row['joint']}/sagittal/{row['angle_against']}/"
        for column in _JOINTS:
            name = SAGITTAL.format(joint=row["joint"], column=column)
            true = truth[row["footfall_number"]].values.get(name, math.nan)
            off = doubts.get(stated + column, math.nan)
            yield Compared(case.site, case.trial_id, name, _number(row[column]), true, off)


def _of_trial(case: Case, work: Workspace, truths: list[Truth], doubts: Mapping[str, float]) -> Iterator[Compared]:
    (row,) = work.trial_outcomes.records
    for outcome, true in of_trial(truths, OF_SIDES, OF_SPREAD).items():
        off = doubts.get(outcome, math.nan)
        yield Compared(case.site, case.trial_id, outcome, _number(row[outcome]), true, off)
    trial = specimen(case).trial
    assert trial is not None
    found = _number(row["mass_from_force_kg"])
    yield Compared(case.site, case.trial_id, "mass_from_force_kg", found, trial.runner.mass_kg)


def _of_muscles(
    case: Case, work: Workspace, running: Specimen, pairs: Iterable[tuple[Mapping[str, object], Truth]]
) -> Iterator[Compared]:
    trial, settings = running.trial, STUDY.processing_at(case.site).muscle
    assert trial is not None
    truth = {row["footfall_number"]: (row, true) for row, true in pairs}
    for row in work.muscle_outcomes.bursts.records:
        if row["footfall_number"] not in truth or row["burst"] != _BURST[GROUPS[str(row["muscle"])]]:
            continue
        own, true = truth[row["footfall_number"]]
        burst = _burst(trial, str(row["muscle"]), true)
        if burst is None or burst.onset_s < 0.01 or burst.offset_s > trial.duration_s - 0.05:
            continue
        contact = _number(own["contact_s"])
        off = _number(row["onset_uncertainty_s"])
        onset = _number(row["onset_before_contact_s"])
        yield Compared(case.site, case.trial_id, "onset_before_contact_s", onset, contact - burst.onset_s, off)
        end = _number(row["offset_after_contact_s"])
        yield Compared(case.site, case.trial_id, "offset_after_contact_s", end, burst.offset_s - contact)
    for row in work.muscle_outcomes.amplitudes.records:
        if row["footfall_number"] not in truth:
            continue
        _, true = truth[row["footfall_number"]]
        half = true.contact_s + settings.loading_fraction * (true.toe_off_s - true.contact_s)
        spans = {
            "pre_contact": (true.contact_s - settings.pre_contact_s, true.contact_s),
            "loading": (true.contact_s, half),
            "push_off": (half, true.toe_off_s),
        }
        if row["analysis_window"] in spans:
            t = np.linspace(*spans[str(row["analysis_window"])], 400)
            active = amplitude_uv(trial.bursts, str(row["muscle"]), str(row["side"]), t)
            expected = float(np.sqrt(np.mean(active**2) + BASELINE_UV**2))
            name = f"{row['analysis_window']}/amplitude_uv"
            yield Compared(case.site, case.trial_id, name, _number(row["amplitude_uv"]), expected)


def _burst(trial: SimulatedTrial, muscle: str, truth: Truth) -> TrueBurst | None:
    own = [b for b in trial.bursts if (b.muscle, b.side) == (muscle, truth.side) and b.contact_s is not None]
    return next((b for b in own if abs(float(b.contact_s or 0.0) - truth.contact_s) < SAME_S), None)


def bouts(sites: Iterable[str], conditions: Iterable[str]) -> Iterator[Compared]:
    """Breathing gas of every invented runner."""
    import pandas as pd

    from pipelines.science.energy.bouts import compute_energy

    own = [Session(runner, "week_0", site).bout(c) for site in sites for runner in RUNNERS for c in conditions]
    breaths = pd.DataFrame([row for bout in own for row in bout.rows()])
    of_session = {b.session_id: (b.session_id, b.mass_kg, b.speed_m_per_s) for b in own}
    sessions = pd.DataFrame(list(of_session.values()), columns=["session_id", "mass_kg", "set_speed_m_per_s"])
    found = compute_energy(breaths, sessions, STUDY.processing).set_index(["session_id", "condition"])
    for bout in own:
        row = found.loc[(bout.session_id, bout.condition)]
        doubt = _number(row["metabolic_power_uncertainty_w_per_kg"])
        for outcome, true in _true_of(bout).items():
            off = doubt if outcome == "metabolic_power_w_per_kg" else math.nan
            yield Compared(bout.site, f"{bout.session_id}-{bout.condition}", outcome, _number(row[outcome]), true, off)


def _true_of(bout: Bout) -> dict[str, float]:
    return {
        "metabolic_power_w_per_kg": bout.power_w_per_kg,
        "energy_cost_j_per_kg_m": bout.cost_j_per_kg_m,
        "respiratory_exchange_ratio": bout.ratio,
    }


def _number(value: object) -> float:
    return math.nan if value is None else float(str(value))
