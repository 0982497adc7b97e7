"""What is inside one C3D file, for a lab engineer, without any study around it. Reading is isolated, as for uploads.

The answer is one plain dictionary that becomes JSON as it is; how it looks on a page of text is in ``look_text``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.errors import Unusable
from pipelines.lab.look_text import render_look
from pipelines.workers.isolation import Ended, Isolated
from schemas.processing import Processing
from schemas.study import SiteProfile

if TYPE_CHECKING:
    from pipelines.intake.c3d.layout import Layout
    from pipelines.intake.c3d.platforms import PlateSpec
    from pipelines.intake.c3d.reading import Recording
    from schemas.trial import Posture, Trial

__all__ = ["look", "render_look"]

TIME_LIMIT_S = 60.0
MEMORY_LIMIT_MB = 2048


@dataclass(frozen=True)
class _Asked:
    """What one look needs; sent to the worker."""

    path: Path
    profile: SiteProfile | None
    processing: Processing
    standing: Path | None
    mass_kg: float | None
    speed_m_per_s: float | None
    outcomes: bool


def look(
    path: Path,
    *,
    profile: Path | None = None,
    standing: Path | None = None,
    mass_kg: float | None = None,
    speed_m_per_s: float | None = None,
    study: Path | None = None,
    outcomes: bool = False,
) -> dict[str, Any]:
    """Read one file and tell what is in it; with ``outcomes`` also its footfalls.

    profile: a site profile, which outcomes need. study: a study file whose processing settings replace the defaults.
    standing: a standing trial for foot angles. mass_kg: body mass; without it the mean vertical force tells.
    speed_m_per_s: belt speed, without which a treadmill trial has no lengths. A file that cannot be read is an answer
    with ``readable`` false. Raises Unusable for a profile or study file at fault.
    """
    from pipelines.study.file import load_profile, load_study

    if outcomes and profile is None:
        raise Unusable(
            "Outcomes were asked for without a site profile.",
            "a profile, which says which way the lab's axes point and what its markers are called.",
            "Give one with --profile PROFILE.yaml.",
        )
    if mass_kg is not None and not 0 < mass_kg < 1000:
        raise Unusable(f"The body mass is {mass_kg:g} kg.", "a mass above 0 kg.", "Give it in kilograms.")
    if speed_m_per_s is not None and not 0 < speed_m_per_s < 20:
        raise Unusable(f"The speed is {speed_m_per_s:g} m/s.", "a speed above 0 m/s.", "Give it in metres per second.")
    for file in (Path(path), standing):
        if file is not None and file.exists() and not (file.is_file() or file.is_dir()):  # a pipe would never end
            raise Unusable("It is no regular file.", "a C3D file.", "Name the recording itself.", file=file)
    own = load_profile(profile) if profile is not None else None
    site = own.site if own is not None else None
    asked = _Asked(
        path=Path(path),
        profile=own,
        processing=load_study(study).study.processing_at(site) if study is not None else Processing(),
        standing=standing,
        mass_kg=mass_kg,
        speed_m_per_s=speed_m_per_s,
        outcomes=outcomes,
    )
    with Isolated(1, TIME_LIMIT_S, MEMORY_LIMIT_MB) as isolated:
        ended = isolated.run(look_inside, asked)
    seen: dict[str, Any] = ended.value if ended.problem is None else _unreadable(asked.path, ended)
    return seen


def look_inside(asked: _Asked) -> dict[str, Any]:
    """The look itself; runs in a worker. Raises C3dProblem."""
    from pipelines.intake.c3d.reading import read_c3d

    recording = read_c3d(asked.path)
    seen = _contents(asked.path, recording)
    if asked.profile is not None:
        seen |= _mapped(recording, asked)
    plain: dict[str, Any] = _plain(seen)
    return plain


def _unreadable(path: Path, ended: Ended) -> dict[str, Any]:
    return {
        "file": str(path),
        "readable": False,
        "problem": ended.detail[:1].upper() + ended.detail[1:] + ".",
        "problem_kind": ended.problem,
        "points": None,
        "analog": None,
        "plates": [],
        "events": 0,
        "encoding": None,
    }


def _contents(path: Path, recording: Recording) -> dict[str, Any]:
    from checks.self_description.agreement import contradictions_in
    from pipelines.intake.c3d.identity import identity_like
    from pipelines.intake.event_marks import meant

    layout, facts = recording.layout, recording.facts
    counts = layout.counts
    return {
        "file": str(path),
        "readable": True,
        "problem": None,
        "points": {
            "count": counts.points,
            "frames": counts.frames,
            "rate_hz": layout.point_rate_hz,
            "unit": layout.point_unit,
            "missing_fraction": float(1 - recording.valid.mean()) if recording.valid.size else 0.0,
        },
        "analog": {
            "count": counts.channels,
            "samples": len(recording.analog) if counts.channels else 0,
            "rate_hz": layout.analog_rate_hz,
        },
        "plates": [_plate(recording, spec) for spec in recording.plates],
        "events": len(layout.events),
        "event_list": [
            _event(layout, t, label) | {"context": context, "taken_for": meant(f"{context} {label}")}
            for t, label, context in layout.events
        ],
        "header_events": [_event(layout, t, label) for t, label in layout.header.events],
        "encoding": {"processor": layout.processor, "storage": layout.storage},
        "labels": list(layout.point_labels),
        "analog_labels": list(layout.analog_labels),
        "analog_units": list(layout.analog_units),
        "duration_s": counts.frames / layout.point_rate_hz,
        "first_frame": layout.header.first_frame,
        "text_like_identity": [{"place": place, "kind": kind} for place, kind in identity_like(layout)],
        "oddities": [*facts.oddities, *(found.said for found in contradictions_in(recording.description))],
    }


def _event(layout: Layout, time_s: float, label: str) -> dict[str, Any]:
    """One event. time_s: as it stands in the file; in_recording_s: from the file's first frame on.

    Times count from the first frame that was recorded, which is frame 1; a file that was cut begins later (common
    practice of writers). Some count from the first frame that is left instead, so ``outside`` is only told of a time
    that lies outside the recording either way.
    """
    cut_s = (max(layout.header.first_frame, 1) - 1) / layout.point_rate_hz
    length_s = layout.counts.frames / layout.point_rate_hz
    frame_s = 1 / layout.point_rate_hz
    inside = any(-frame_s <= t <= length_s + frame_s for t in (time_s, time_s - cut_s))
    return {"time_s": time_s, "in_recording_s": time_s - cut_s, "outside": not inside, "label": label}


def _plate(recording: Recording, spec: PlateSpec) -> dict[str, Any]:
    """One plate in lab axes and file units of length; its vertical is the lab axis nearest to its own normal."""
    import numpy as np

    from pipelines.intake.plates import force_and_moment_in_lab, vertical_axis
    from pipelines.intake.units import metres_per_unit

    told: dict[str, Any] = {
        "number": spec.number,
        "type": spec.c3d_type,
        "mean_vertical_force_n": None,
        "mean_force_n": None,
        "vertical": None,
        "corners": spec.corners.tolist(),
        "channels": [recording.analog_labels[c] for c in spec.channels],
        "problem": spec.problem,
    }
    if spec.problem or not len(recording.analog):
        return told
    with np.errstate(all="ignore"):
        metre = metres_per_unit(recording.layout.point_unit) or 1.0
        force, _ = force_and_moment_in_lab(recording, spec, metre)
        mean = force.mean(axis=0)
    axis = vertical_axis(spec)
    return told | {
        "mean_vertical_force_n": float(mean @ axis),
        "mean_force_n": mean.tolist(),
        "vertical": "xyz"[int(np.argmax(axis))],
    }


def _mapped(recording: Recording, asked: _Asked) -> dict[str, Any]:
    """What the profile makes of the file: which labels are missing, and the outcomes when they are asked for."""
    from pipelines.intake.to_trial import to_trial

    assert asked.profile is not None
    trial = to_trial(recording, asked.profile, asked.processing, _row(asked.path, asked.profile, "running"))
    told: dict[str, Any] = {
        "missing_labels": trial.missing_labels,
        "oddities": list(trial.facts.oddities),
        "turned": trial.turned,
    }
    return told | _outcomes(trial, asked) if asked.outcomes else told


def _row(path: Path, profile: SiteProfile, kind: str) -> Any:
    from pipelines.intake.to_trial import TrialRow

    return TrialRow(path.stem, profile.site, kind, condition="", surface=profile.surface, session_id="", file=path.name)


def _outcomes(trial: Trial, asked: _Asked) -> dict[str, Any]:
    from pipelines.science.joints.clusters import with_carried
    from pipelines.science.workspace import Workspace

    assert asked.profile is not None
    posture, standing_problem = _posture(asked)
    source = "given"
    trial = replace(
        with_carried(trial, posture, asked.profile.clusters),
        mass_kg=asked.mass_kg,
        set_speed_m_per_s=asked.speed_m_per_s,
    )
    if asked.mass_kg is None:
        (first,) = Workspace(trial, asked.processing, posture).trial_outcomes.records
        estimate = first["mass_from_force_kg"]
        estimate = estimate if math.isfinite(estimate) else None
        trial = replace(trial, mass_kg=estimate)
        source = "force" if estimate else "none"
    work = Workspace(trial, asked.processing, posture)
    (whole,) = work.trial_outcomes.records
    return {
        "footfalls": [{n: v for n, v in row.items() if n != "trial_id"} for row in work.classed_footfalls.records],
        "trial": {**whole, "mass_source": source},
        "standing_problem": standing_problem,
    }


def _posture(asked: _Asked) -> tuple[Posture | None, str | None]:
    """Mean posture of the standing trial, or why there is none."""
    from pipelines.intake.c3d.reading import C3dProblem, read_c3d
    from pipelines.intake.to_trial import posture_of, to_trial

    assert asked.profile is not None
    if asked.standing is None:
        return None, None
    try:
        recording = read_c3d(asked.standing)
    except C3dProblem as problem:
        return None, f"The standing trial cannot be used: {problem.detail}."
    row = _row(asked.standing, asked.profile, "standing")
    return posture_of(to_trial(recording, asked.profile, asked.processing, row)), None


def _plain(value: Any) -> Any:
    """The same as plain Python values that JSON knows; anything missing or not finite is None."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, str | bool | int):
        return value
    if hasattr(value, "item"):
        return _plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return None  # pandas' own missing value
