"""From a recording in a lab's own axes, units and labels to a Trial in the study's. No judgement is made here.

What cannot be mapped is kept and told: a unit that is not known leaves numbers as they are with an oddity, a label
that is not in the file becomes a missing label. Checks decide what that means.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.intake.c3d.reading import Recording
from pipelines.intake.event_marks import marks_of
from pipelines.intake.gaps import fill_gaps
from pipelines.intake.plates import plates_of
from pipelines.intake.units import metres_per_unit
from pipelines.science.signals.labels import plain
from schemas.processing import Processing
from schemas.study import Axes, SiteProfile
from schemas.trial import FORWARD, Channel, FloatArray, Plate, Posture, Trial

#: turns half way round about the vertical
HALF_TURN = np.diag([-1.0, 1.0, -1.0])


@dataclass(frozen=True)
class TrialRow:
    """What the delivery's tables say about one trial."""

    trial_id: str
    site: str
    kind: str
    condition: str
    surface: str
    participant_id: str | None = None
    session_id: str | None = None
    visit: str | None = None
    mass_kg: float | None = None
    sex: str | None = None
    stature_m: float | None = None
    leg_length_m: float | None = None
    set_speed_m_per_s: float | None = None
    belt_speed_m_per_s: float | None = None
    raw_sha256: str = ""
    file: str = ""


def to_trial(recording: Recording, profile: SiteProfile, processing: Processing, row: TrialRow) -> Trial:
    """Map a recording to roles, study axes and SI units, with short gaps filled."""
    turn = turn_of(profile.axes)
    metre = metres_per_unit(recording.layout.point_unit)
    facts = recording.facts
    if metre is None:
        unit = recording.layout.point_unit
        told = f"positions are in a unit called '{unit}'" if unit else "the file names no unit of position"
        facts = replace(facts, oddities=(*facts.oddities, f"{told}; they were taken as metres"))
        metre = 1.0
    columns, missing = _columns(recording.labels, profile.markers)
    markers = {role: _seen(recording, i) @ turn.T * metre for role, i in columns.items()}
    carrying, _ = _columns(recording.labels, _labels_of_clusters(profile))
    carriers = {name: _seen(recording, i) @ turn.T * metre for name, i in carrying.items()}
    plates = plates_of(recording, turn, metre)
    turned = profile.runs_both_ways and _faces_backwards(markers, row.kind, processing)
    if turned:
        markers, carriers = ({name: path @ HALF_TURN for name, path in paths.items()} for paths in (markers, carriers))
        plates = tuple(_turned(plate) for plate in plates)
    longest = int(np.floor(processing.longest_gap_s * recording.layout.point_rate_hz + 1e-9))
    paths, filled = _fill_all(markers, longest)
    carriers, _ = _fill_all(carriers, longest)
    return Trial(
        trial_id=row.trial_id,
        site=row.site,
        kind=row.kind,
        condition=row.condition,
        surface=row.surface,
        facts=facts,
        markers=paths,
        filled=filled,
        marker_rate_hz=recording.layout.point_rate_hz,
        plates=plates,
        analog_rate_hz=recording.layout.analog_rate_hz,
        channels=_other_channels(recording),
        missing_labels=missing,
        marks=marks_of(recording.layout),
        carriers=carriers,
        participant_id=row.participant_id,
        session_id=row.session_id,
        visit=row.visit,
        mass_kg=row.mass_kg,
        sex=row.sex,
        stature_m=row.stature_m,
        leg_length_m=row.leg_length_m,
        set_speed_m_per_s=row.set_speed_m_per_s,
        belt_speed_m_per_s=row.belt_speed_m_per_s,
        raw_sha256=row.raw_sha256,
        file=row.file,
        turned=turned,
    )


def _labels_of_clusters(profile: SiteProfile) -> dict[str, str]:
    """Name of each marker of a cluster -> its label."""
    return {
        marker: label
        for name, cluster in profile.clusters.items()
        for marker, label in zip(cluster.marker_names(name), cluster.labels, strict=True)
    }


def _seen(recording: Recording, column: int) -> FloatArray:
    """(f, 3) one point's positions, NaN also where zeros or the like stand for a position that was not seen."""
    path, missing = recording.points[:, column], recording.unmarked[:, column]
    return np.where(missing[:, None], np.nan, path) if missing.any() else path


def posture_of(trial: Trial) -> Posture:
    """Mean position of every marker that was seen in a standing trial, those of clusters included."""
    paths = {**trial.markers, **trial.carriers}
    means = {role: np.nanmean(path, axis=0) for role, path in paths.items() if np.isfinite(path).all(axis=1).any()}
    return Posture(trial.trial_id, trial.condition, means)


def turn_of(axes: Axes) -> FloatArray:
    """(3, 3) matrix with study = matrix @ lab."""
    matrix = np.zeros((3, 3))
    for row, axis in enumerate((axes.forward, axes.up, axes.right)):
        matrix[row, "xyz".index(axis[1])] = -1.0 if axis[0] == "-" else 1.0
    return matrix


def _columns(labels: tuple[str, ...], wanted: dict[str, str]) -> tuple[dict[str, int], dict[str, str]]:
    """Column of each role's label, and the roles whose label is not in the file.

    A label matches exactly, or else without regard to capitals and spaces round it, or else behind a subject's name
    ("name:label") when no two subjects share it. The first of several equal labels counts.
    """
    exact = {label: i for i, label in reversed(list(enumerate(labels)))}
    plainly = {plain(label): i for i, label in reversed(list(enumerate(labels)))}
    behind: dict[str, list[int]] = {}
    for i, label in enumerate(labels):
        if ":" in label:
            behind.setdefault(plain(label.rsplit(":", 1)[1]), []).append(i)
    columns: dict[str, int] = {}
    missing: dict[str, str] = {}
    for role, label in wanted.items():
        key = plain(label)
        if label in exact:
            columns[role] = exact[label]
        elif key in plainly:
            columns[role] = plainly[key]
        elif len({labels[i] for i in behind.get(key, [])}) == 1:
            columns[role] = behind[key][0]
        else:
            missing[role] = label
    return columns, missing


def _faces_backwards(markers: dict[str, FloatArray], kind: str, processing: Processing) -> bool:
    """Whether the runner came against the study's forward direction, or stands facing that way."""
    if kind == "running":
        roles = [r for r in markers if r.removesuffix("_left").removesuffix("_right") in processing.speed_roles]
        paths = [markers[role][:, FORWARD] for role in roles or markers]
        return bool(paths) and _travel(np.array(paths)) < 0
    feet = [
        markers[f"{processing.forefoot_role}_{side}"] - markers[f"{processing.heel_role}_{side}"]
        for side in ("left", "right")
        if {f"{processing.forefoot_role}_{side}", f"{processing.heel_role}_{side}"} <= markers.keys()
    ]
    lengths = np.array(feet)[..., FORWARD] if feet else np.empty(0)
    return bool(np.isfinite(lengths).any()) and float(np.nanmean(lengths)) < 0


def _travel(paths: FloatArray) -> float:
    """Sum of the steps between neighbouring frames over all markers: the sign says which way they went."""
    steps = np.diff(paths, axis=1)
    return float(np.nansum(steps))


def _turned(plate: Plate) -> Plate:
    return replace(
        plate,
        corners=plate.corners @ HALF_TURN,
        force=plate.force @ HALF_TURN,
        moment=plate.moment @ HALF_TURN,
    )


def _fill_all(
    markers: dict[str, FloatArray], longest: int
) -> tuple[dict[str, FloatArray], dict[str, NDArray[np.bool_]]]:
    paths, filled = {}, {}
    for role, path in markers.items():
        paths[role], filled[role] = fill_gaps(path, longest)
    return paths, filled


def _other_channels(recording: Recording) -> tuple[Channel, ...]:
    """Analog channels that no usable plate reads."""
    taken = {c for spec in recording.plates if not spec.problem for c in spec.channels}
    layout = recording.layout
    return tuple(
        Channel(label, unit, layout.analog_rate_hz or 0.0, recording.analog[:, i])
        for i, (label, unit) in enumerate(zip(layout.analog_labels, layout.analog_units, strict=True))
        if i not in taken
    )
