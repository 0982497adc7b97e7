"""Assembles the ``footfall_joints`` table of one trial, and the angle series that curves are made from.

Geometry is in ``joint_angles`` and ``joint_frames``, mechanics in ``joint_moments``, the choice of markers in
``joint_landmarks``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.science.events.from_force import SIDES
from pipelines.science.events.ground import Ground
from pipelines.science.frames import Rows
from pipelines.science.joints import angles as joint_angles
from pipelines.science.joints import frames as joint_frames
from pipelines.science.joints import moments as joint_moments
from pipelines.science.joints.landmarks import Landmarks, seen
from pipelines.science.joints.segments import Segment, segments_for
from pipelines.science.signals.sampling import stretch, value_at
from pipelines.science.signals.smooth import SmoothMarkers
from schemas.outcomes_signals import FOOTFALL_JOINTS
from schemas.processing import Processing
from schemas.trial import FloatArray, Posture, Trial

JOINTS = ("ankle", "knee", "hip")
_DISTAL = {"ankle": ("shank", "foot"), "knee": ("thigh", "shank"), "hip": ("pelvis", "thigh")}


@dataclass(frozen=True)
class JointAngle:
    """One angle over a whole trial, standing posture as zero.

    angle_deg: (frames,) at the marker rate, NaN where a marker is hidden and everywhere without a posture.
    against: ``segment`` or ``vertical``, what it is counted from.
    """

    side: str
    joint: str
    plane: str
    against: str
    angle_deg: FloatArray


def joint_rows(
    trial: Trial,
    footfalls: Rows,
    angles: Sequence[JointAngle],
    processing: Processing,
    smooth: SmoothMarkers,
    ground: Ground,
) -> Rows:
    """One row per footfall, joint and plane that the trial's markers allow: ``footfall_joints`` less provenance.

    footfalls, angles, smooth, ground: of the same trial, angles by ``joint_series``. Segment parameters are those of
    the sex the runner stated; None or any word but female and male means the study's default set. Angles are null
    without a posture, moments without force or mass; a marker hidden during a contact makes what needs it null for that
    contact only. Joints whose markers the trial lacks have no rows. Bad signals give nulls, not errors.
    """
    segments = segments_for(trial.sex, processing.joints.segments_when_sex_unknown)
    moments = _Moments(trial, processing, segments, smooth, ground)
    rate = trial.marker_rate_hz
    of_side = {side: [angle for angle in angles if angle.side == side] for side in SIDES}
    together = {side: np.stack([a.angle_deg for a in own], axis=1) for side, own in of_side.items() if own}
    rows: list[dict[str, Any]] = []
    for footfall in footfalls.records:
        side, span = str(footfall["side"]), (float(footfall["contact_s"]), float(footfall["toe_off_s"]))
        if side not in together:
            continue
        peaks = moments.peaks(side, *span)
        read = _angles(together[side], rate, *span)
        same = {name: footfall[name] for name in ("trial_id", "footfall_number", "side")}
        for i, angle in enumerate(of_side[side]):
            row = same | {"joint": angle.joint, "plane": angle.plane, "angle_against": angle.against}
            row |= {name: values[i] for name, values in read.items()}
            row["moment_peak_nm_per_kg"] = peaks.get(angle.joint) if angle.plane == "sagittal" else None
            rows.append(row)
    return Rows.of(FOOTFALL_JOINTS, rows)


def joint_series(
    trial: Trial, posture: Posture | None, processing: Processing, smooth: SmoothMarkers
) -> tuple[JointAngle, ...]:
    """Every joint angle the trial's markers allow, in the order side, joint, plane; filtered as the study's markers.

    Sagittal angles lie in the study's vertical plane of running; frontal and transverse ones are those of Grood &
    Suntay (1983) between anatomical frames. From each the same angle of the standing posture is subtracted.
    """
    if not trial.marker_rate_hz > 0:
        return ()
    roles = seen(trial.markers)
    paths = {name: smooth.paths[name] for name in sorted(roles)}
    still = {name: np.asarray(place, float)[None] for name, place in posture.markers.items()} if posture else {}
    series = []
    for side in SIDES:
        moving = _side_angles(Landmarks(paths, side, processing, roles))
        standing = _side_angles(Landmarks(still, side, processing, roles)) if still else {}
        for key, (against, angle) in moving.items():
            zero = standing[key][1][0] if key in standing else np.nan
            series.append(JointAngle(side, *key, against, joint_angles.wrapped(angle - zero)))
    return tuple(series)


def _side_angles(marks: Landmarks) -> dict[tuple[str, str], tuple[str, FloatArray]]:
    """(joint, plane) -> what it is counted from and the angle (n,) in deg, standing not yet subtracted."""
    flat, frames = _sagittal(marks), marks.frames()
    found: dict[tuple[str, str], tuple[str, FloatArray]] = {}
    for joint in JOINTS:
        if joint in flat:
            found[joint, "sagittal"] = flat[joint]
        proximal, distal = _DISTAL[joint]
        if proximal in frames and distal in frames:
            turns = joint_frames.rotations(frames[proximal], frames[distal])
            in_space = joint_frames.anatomical(turns, joint, marks.side)
            for i, plane in enumerate(joint_frames.PLANES[1:], start=1):
                found[joint, plane] = "segment", in_space[:, i]
    return found


def _sagittal(marks: Landmarks) -> dict[str, tuple[str, FloatArray]]:
    """Joint -> what it is counted from and the angle (n,) in deg in the study's sagittal plane."""
    heel, forefoot, ankle, knee, hip = marks.heel, marks.forefoot, marks.ankle, marks.knee, marks.hip
    shank = None if ankle is None or knee is None else joint_angles.direction(ankle, knee)
    found: dict[str, tuple[str, FloatArray]] = {}
    if shank is not None and heel is not None and forefoot is not None:
        found["ankle"] = "segment", joint_angles.ankle_dorsiflexion(joint_angles.direction(forefoot, heel), shank)
    if knee is None or hip is None:
        return found
    thigh = joint_angles.direction(knee, hip)
    if shank is not None:
        found["knee"] = "segment", joint_angles.knee_flexion(thigh, shank)
    front, back = marks.pelvis_front, marks.pelvis_back
    if front is not None and back is not None:
        tilt = joint_angles.direction(back, (front[0] + front[1]) / 2)
        found["hip"] = "segment", joint_angles.hip_flexion(thigh, tilt)
    elif marks.has_pelvis:
        found["hip"] = "vertical", joint_angles.hip_flexion(thigh)
    return found


def _angles(angles_deg: FloatArray, rate_hz: float, start_s: float, end_s: float) -> dict[str, list[float]]:
    """At contact, peak and range of each of k angles (frames, k) in deg; NaN where a sample is missing."""
    _, during = stretch(angles_deg, rate_hz, start_s, end_s)
    highest = during.max(axis=0)
    return {
        "angle_at_contact_deg": value_at(angles_deg, rate_hz, start_s).tolist(),
        "angle_peak_deg": highest.tolist(),
        "angle_range_deg": (highest - during.min(axis=0)).tolist(),
    }


class _Moments:
    """Joint moments of one trial, worked out once for each leg and set of plates."""

    def __init__(
        self,
        trial: Trial,
        processing: Processing,
        segments: Mapping[str, Segment],
        smooth: SmoothMarkers,
        ground: Ground,
    ) -> None:
        self.trial, self.processing, self.segments = trial, processing, segments
        self.smooth, self.ground = smooth, ground
        self.made: dict[tuple[str, tuple[int, ...]], tuple[tuple[str, ...], FloatArray]] = {}
        self.wrenches: dict[tuple[int, ...], tuple[FloatArray, FloatArray]] = {}
        self.usable = moments_can_be_had(trial, processing)

    def peaks(self, side: str, start_s: float, end_s: float) -> dict[str, float]:
        """Joint -> largest moment of a contact in N.m/kg, extensors positive, with the plates loaded in it.

        The other plates are left out: a small offset on one that lies metres away would turn the leg like a load.
        """
        if not self.usable:
            return {}
        loaded = self.ground.loaded((start_s + end_s) / 2)
        if not loaded:
            return {}
        if (side, loaded) not in self.made:
            self.made[side, loaded] = self._make(side, loaded)
        joints, together = self.made[side, loaded]
        if not joints:
            return {}
        highest = stretch(together, self.trial.marker_rate_hz, start_s, end_s)[1].max(axis=0)
        return dict(zip(joints, highest.tolist(), strict=True))

    def _make(self, side: str, loaded: tuple[int, ...]) -> tuple[tuple[str, ...], FloatArray]:
        """The joints, and their moments (frames, joints) in N.m/kg."""
        paths = self.smooth.below(self.processing.joints.moment_cutoff_hz)
        marks = Landmarks(paths, side, self.processing, seen(self.trial.markers))
        wanted = {name: getattr(marks, name) for name in ("heel", "toe", "ankle", "knee", "hip")}
        points = {name: path for name, path in wanted.items() if path is not None}
        if not {"heel", "toe", "ankle"} <= points.keys():
            return (), np.empty((0, 0))
        if loaded not in self.wrenches:
            self.wrenches[loaded] = self._wrench(loaded)
        force, moment = self.wrenches[loaded]
        mass = float(self.trial.mass_kg or np.nan)
        made = joint_moments.joint_moments(points, force, moment, self.trial.marker_rate_hz, mass, self.segments)
        columns = [joint_moments.extensor(joint, values) / mass for joint, values in made.items()]
        return tuple(made), np.stack(columns, axis=1)

    def _wrench(self, loaded: tuple[int, ...]) -> tuple[FloatArray, FloatArray]:
        """Force in N and moment about the study's origin in N.m of these plates at the marker frames, (frames, 3)."""
        settings, rate = self.processing, float(self.trial.analog_rate_hz or 0.0)
        signal = self.ground.below(settings.joints.moment_cutoff_hz, loaded)
        frames = max((len(path) for path in self.trial.markers.values()), default=0)
        times = np.arange(frames) / self.trial.marker_rate_hz
        sampled = np.arange(len(signal)) / rate
        at_frames = np.stack([np.interp(times, sampled, column, np.nan, np.nan) for column in signal.T], axis=1)
        return at_frames[:, :3], at_frames[:, 3:]


def moments_can_be_had(trial: Trial, processing: Processing) -> bool:
    """Whether mass is known and markers, force and the cut-off of inverse dynamics fit each other.

    Force must be sampled at least as often as markers, both recordings must end together (within one frame and one
    sample), and the cut-off must lie below half the marker rate, since a second derivative of unfiltered markers is
    mostly noise.
    """
    rate, force_rate, mass = trial.marker_rate_hz, trial.analog_rate_hz, trial.mass_kg
    if not trial.plates or not force_rate or mass is None or not mass > 0:
        return False
    if not rate > 0 or force_rate < rate or not processing.joints.moment_cutoff_hz < rate / 2:
        return False
    frames = max((len(path) for path in trial.markers.values()), default=0)
    apart = abs(frames / rate - len(trial.plates[0].force) / force_rate)
    return apart <= 1 / rate + 1 / force_rate
