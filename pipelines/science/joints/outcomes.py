"""Assembles the ``footfall_joints`` table of one trial, and the angle series that curves are made from.

Geometry is in ``angles`` and ``frames``, moments in ``loads``, the choice of markers in ``landmarks``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.science.events.from_force import SIDES
from pipelines.science.events.ground import Ground
from pipelines.science.frames import Rows
from pipelines.science.joints import angles as joint_angles
from pipelines.science.joints import frames as joint_frames
from pipelines.science.joints.landmarks import Landmarks, seen
from pipelines.science.joints.loading import LOADS, joint_loads
from pipelines.science.joints.loads import Moments
from pipelines.science.joints.segments import segments_for
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


class Joints:
    """Angles and moments of one trial's joints, read contact by contact.

    angles, smooth, ground: of the same trial, angles by ``joint_series``. Segment parameters are those of the sex the
    runner stated; None or any word but female and male means the study's default set.
    """

    def __init__(
        self,
        trial: Trial,
        angles: Sequence[JointAngle],
        processing: Processing,
        smooth: SmoothMarkers,
        ground: Ground,
    ) -> None:
        self.trial, self.processing, self.smooth = trial, processing, smooth
        self.rate_hz = trial.marker_rate_hz
        self.of_side = {side: [angle for angle in angles if angle.side == side] for side in SIDES}
        self.angles_deg = {
            side: np.stack([angle.angle_deg for angle in own], axis=1) for side, own in self.of_side.items() if own
        }
        segments = segments_for(trial.sex, processing.joints.segments_when_sex_unknown)
        self.moments = Moments(trial, processing, segments, smooth, ground)

    def angles_in(self, side: str, start_s: float, end_s: float) -> FloatArray:
        """(3, k) at contact, peak and range of each of ``of_side`` in deg; NaN where a sample is missing."""
        values = self.angles_deg[side]
        _, during = stretch(values, self.rate_hz, start_s, end_s)
        highest = during.max(axis=0)
        return np.stack([value_at(values, self.rate_hz, start_s), highest, highest - during.min(axis=0)])


#: Columns of ``footfall_joints`` that are read from angles, in the order of ``Joints.angles_in``.
ANGLES = ("angle_at_contact_deg", "angle_peak_deg", "angle_range_deg")


def joint_rows(footfalls: Rows, joints: Joints) -> Rows:
    """One row per footfall, joint and plane that the trial's markers allow: ``footfall_joints`` less provenance.

    footfalls: of the same trial. Angles are null without a posture, moments and what they make without force or mass; a
    marker hidden during a contact makes what needs it null for that contact only. Joints whose markers the trial lacks
    have no rows. Bad signals give nulls, not errors.
    """
    rows: list[dict[str, Any]] = []
    processing = joints.processing.joints
    for footfall in footfalls.records:
        side, span = str(footfall["side"]), (float(footfall["contact_s"]), float(footfall["toe_off_s"]))
        if side not in joints.angles_deg:
            continue
        loads = joint_loads(joints.moments.during(side, *span), processing.achilles_moment_arm_m)
        read = dict(zip(ANGLES, joints.angles_in(side, *span).tolist(), strict=True))
        same = {name: footfall[name] for name in ("trial_id", "footfall_number", "side")}
        for i, angle in enumerate(joints.of_side[side]):
            row = same | {"joint": angle.joint, "plane": angle.plane, "angle_against": angle.against}
            row |= {name: values[i] for name, values in read.items()}
            own = loads.get(angle.joint, {}) if angle.plane == "sagittal" else {}
            rows.append(row | {name: own.get(name) for name in LOADS})
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
    if len({len(path) for path in paths.values()}) > 1:
        return ()  # places of different frames make no angle
    still = {name: np.asarray(place, float)[None] for name, place in posture.markers.items()} if posture else {}
    series = []
    for side in SIDES:
        moving = side_angles(Landmarks(paths, side, processing, roles))
        standing = side_angles(Landmarks(still, side, processing, roles)) if still else {}
        for key, (against, angle) in moving.items():
            zero = standing[key][1][0] if key in standing else np.nan
            series.append(JointAngle(side, *key, against, joint_angles.wrapped(angle - zero)))
    return tuple(series)


def side_angles(marks: Landmarks) -> dict[tuple[str, str], tuple[str, FloatArray]]:
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
