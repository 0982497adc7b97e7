"""The outcomes of one trial as data frames, which tests like to look at, each from its own workspace."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from pipelines.science.curves import Series, angle_series, curve_rows, force_series
from pipelines.science.events import agreement
from pipelines.science.events.agreement import SidedContacts
from pipelines.science.frames import Rows
from pipelines.science.joints.outcomes import JointAngle
from pipelines.science.muscles import amplitudes
from pipelines.science.muscles.amplitudes import Reference
from pipelines.science.muscles.outcomes import Muscles, muscle_outcomes
from pipelines.science.muscles.signal import Key
from pipelines.science.workspace import Workspace
from schemas.model import Table
from schemas.outcomes import FOOTFALLS
from schemas.processing import Processing
from schemas.processing_signals import MuscleProcessing
from schemas.trial import Posture, Signal, Trial


def rows_like(table: Table, rows: Iterable[Mapping[str, Any]]) -> Rows:
    """Rows of a table from mappings that name some of its columns; the others are null."""
    return Rows.of_frame(table, pd.DataFrame(list(rows)))


def footfall_rows_of(frame: pd.DataFrame) -> Rows:
    """Footfalls as the science takes them."""
    return Rows.of_frame(FOOTFALLS, frame)


def compute_footfalls(trial: Trial, processing: Processing, posture: Posture | None) -> pd.DataFrame:
    return Workspace(trial, processing, posture).classed_footfalls.frame()


def compute_trial_outcomes(trial: Trial, processing: Processing, posture: Posture | None) -> dict[str, Any]:
    (row,) = Workspace(trial, processing, posture).trial_outcomes.records
    return {name: None if value != value else value for name, value in row.items()}


def joint_series(trial: Trial, posture: Posture | None, processing: Processing) -> tuple[JointAngle, ...]:
    return Workspace(trial, processing, posture).joint_angles


def compute_joints(
    trial: Trial, footfalls: pd.DataFrame, posture: Posture | None, processing: Processing, sex: str | None
) -> pd.DataFrame:
    work = Workspace(replace(trial, sex=sex), processing, posture)
    return work.given(footfalls=footfall_rows_of(footfalls)).footfall_joints.frame()


def compute_curves(
    trial: Trial,
    footfalls: pd.DataFrame,
    angles: Iterable[JointAngle],
    envelopes: Iterable[Series],
    processing: Processing,
) -> pd.DataFrame:
    force = force_series(trial, Workspace(trial, processing).signals.filtered_vertical)
    series = [*force, *angle_series(trial, angles), *envelopes]
    return curve_rows(trial.trial_id, footfall_rows_of(footfalls), series).frame()


@dataclass(frozen=True)
class MuscleFrames:
    amplitudes: pd.DataFrame
    bursts: pd.DataFrame
    co_contractions: pd.DataFrame
    signals: pd.DataFrame


def compute_muscles(
    trial_id: str,
    signals: Iterable[Signal],
    footfalls: pd.DataFrame,
    processing: MuscleProcessing,
    references: Mapping[Key, Reference],
) -> MuscleFrames:
    found = muscle_outcomes(trial_id, Muscles(signals, processing), footfall_rows_of(footfalls), references)
    return MuscleFrames(*(rows.frame() for rows in vars(found).values()))


def reference_amplitude(
    signal: Signal, processing: MuscleProcessing, kind: str, footfalls: pd.DataFrame | None = None
) -> float | None:
    rows = None if footfalls is None else footfall_rows_of(footfalls)
    return amplitudes.reference_amplitude(signal, processing, kind, rows)


def references_of(
    recordings: Iterable[tuple[Iterable[Signal], pd.DataFrame | None]], processing: MuscleProcessing
) -> Mapping[Key, Reference]:
    rows = [(signals, None if frame is None else footfall_rows_of(frame)) for signals, frame in recordings]
    return amplitudes.references_of(rows, processing)


def contacts_by_method(trial: Trial, processing: Processing) -> dict[str, Any]:
    return dict(Workspace(trial, processing).contacts.by_method)


def contacts_of(trial: Trial, processing: Processing) -> list[Any]:
    return list(Workspace(trial, processing).contacts.believed)


def footfall_events(footfalls: pd.DataFrame, by_method: Mapping[str, SidedContacts]) -> list[dict[str, Any]]:
    return agreement.footfall_events(footfall_rows_of(footfalls), by_method)
