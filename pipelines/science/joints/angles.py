"""Sagittal segment and joint angles from points in the study's sagittal plane. Angles in space are in ``joint_frames``.

Signs: dorsiflexion, knee flexion and hip flexion are positive. The direction of a segment is counted counter-clockwise
from forward, as seen from the runner's right (Winter 2009, Biomechanics and Motor Control of Human Movement, ch. 3).
Nothing here subtracts the standing posture; ``joints`` does.
"""

from __future__ import annotations

import numpy as np

from schemas.trial import FORWARD, UP, FloatArray


def direction(start: FloatArray, end: FloatArray) -> FloatArray:
    """Direction in deg, (-180, 180], of the line from ``start`` to ``end``, both (n, 3): (n,); NaN where either is.

    0 points forward, 90 up. Segments are drawn as Winter draws them: thigh from knee to hip, shank from ankle to
    knee, foot from forefoot to heel (180 when flat); the pelvis from back to front (0 when level).
    """
    line = np.asarray(end, float) - np.asarray(start, float)
    return np.asarray(np.degrees(np.arctan2(line[..., UP], line[..., FORWARD])))


def wrapped(angle_deg: FloatArray) -> FloatArray:
    """The same angle in [-180, 180) deg."""
    return np.asarray((np.asarray(angle_deg, float) + 180.0) % 360.0 - 180.0)


def ankle_dorsiflexion(foot_deg: FloatArray, shank_deg: FloatArray) -> FloatArray:
    """Foot against shank in deg from their directions; 0 at a right angle, toes towards the shin are positive."""
    return wrapped(foot_deg - shank_deg - 90.0)


def knee_flexion(thigh_deg: FloatArray, shank_deg: FloatArray) -> FloatArray:
    """Thigh less shank direction in deg (Winter 2009, ch. 3); 0 when they are in line, bending is positive."""
    return wrapped(thigh_deg - shank_deg)


def hip_flexion(thigh_deg: FloatArray, pelvis_deg: FloatArray | float = 0.0) -> FloatArray:
    """Thigh against pelvis in deg; against the vertical when the pelvis is taken as level. Knee forward is positive."""
    return wrapped(thigh_deg - pelvis_deg - 90.0)
