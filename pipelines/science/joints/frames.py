"""Anatomical frames of pelvis, thigh, shank and foot, and the angles between two of them in space.

A frame is (n, 3, 3) with the axes as columns: X forward, Y up along the segment, Z to the runner's right on both sides
(ISB: Wu et al. 2002, J Biomech 35:543-548). Angles are those of Grood & Suntay 1983 (J Biomech Eng 105:136-144): about
the Z axis of the proximal segment, the Y axis of the distal one, and the floating axis at right angles to both.
Definitions are from memory. Which marker is which landmark is in ``joint_landmarks``.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from schemas.trial import FloatArray

Side = Literal["left", "right"]
PLANES = ("sagittal", "frontal", "transverse")


def pelvis_frame(front_left: FloatArray, front_right: FloatArray, back: FloatArray) -> FloatArray:
    """Z from the left to the right anterior spine, X forward in the plane of these and ``back``; all (n, 3) m.

    back: midpoint of the posterior spines.
    """
    z = _unit(front_right - front_left)
    x = _unit(_across((front_left + front_right) / 2 - back, z))
    return np.stack([x, np.cross(z, x), z], axis=-1)


def thigh_frame(hip: FloatArray, knee_lateral: FloatArray, knee_medial: FloatArray, side: str) -> FloatArray:
    """Y from the middle of the epicondyles to the hip joint centre, Z in the plane of the three; all (n, 3) m."""
    return _long_axis_frame(hip - (knee_lateral + knee_medial) / 2, _rightward(knee_lateral, knee_medial, side))


def shank_frame(
    knee_lateral: FloatArray,
    knee_medial: FloatArray,
    ankle_lateral: FloatArray,
    ankle_medial: FloatArray,
    side: str,
) -> FloatArray:
    """Y from the middle of the malleoli to that of the epicondyles, Z in the plane of Y and the malleoli; all (n, 3) m.

    Wu et al. 2002 lay Z through the malleoli and let Y follow; here the long axis comes first, as in Grood & Suntay,
    so that one frame serves knee and ankle. The standing angle takes the difference away.
    """
    along = (knee_lateral + knee_medial - ankle_lateral - ankle_medial) / 2
    return _long_axis_frame(along, _rightward(ankle_lateral, ankle_medial, side))


def foot_frame(heel: FloatArray, forefoot: FloatArray, outer: FloatArray, inner: FloatArray, side: str) -> FloatArray:
    """X from heel to forefoot, Z in the plane of X and the line through the metatarsal heads; all (n, 3) m.

    outer, inner: the fifth metatarsal head and the one furthest to the inside that is marked.
    """
    x = _unit(forefoot - heel)
    z = _unit(_across(_rightward(outer, inner, side), x))
    return np.stack([x, np.cross(z, x), z], axis=-1)


def rotations(proximal: FloatArray, distal: FloatArray) -> FloatArray:
    """Turns of ``distal`` against ``proximal`` in deg, (n, 3): about proximal Z, floating X and distal Y, right-handed.

    The same as the intrinsic sequence Z, X, Y. NaN where an axis is.
    """
    turn = np.swapaxes(proximal, -1, -2) @ distal
    flexion = np.arctan2(-turn[..., 0, 1], turn[..., 1, 1])
    sideways = np.arcsin(np.clip(turn[..., 2, 1], -1.0, 1.0))
    axial = np.arctan2(-turn[..., 2, 0], turn[..., 2, 2])
    angles: FloatArray = np.degrees(np.stack([flexion, sideways, axial], axis=-1))
    return angles


def anatomical(turns_deg: FloatArray, joint: str, side: str) -> FloatArray:
    """``rotations`` with the signs of the trade, (n, 3) deg in the order of ``PLANES``, the same on both sides.

    sagittal: dorsiflexion, knee flexion, hip flexion. frontal: adduction, at the ankle inversion. transverse: internal
    rotation of the distal segment.
    """
    mirror = -1.0 if side == "left" else 1.0
    # turning right-handed about the rightward axis lifts toes and knee forward, but stretches the knee
    return np.asarray(turns_deg * np.array([-1.0 if joint == "knee" else 1.0, mirror, mirror]))


def hip_centre(front_left: FloatArray, front_right: FloatArray, back: FloatArray, side: str) -> FloatArray:
    """Hip joint centre (n, 3) m by regression on pelvic width PW and depth PD, all landmarks (n, 3) m.

    Harrington et al. 2007 (J Biomech 40:595-602), seen second-hand: from the middle of the anterior spines, in the
    axes of ``pelvis_frame`` and mm, X -0.24 PD - 9.9, Y -0.30 PW - 10.9, Z 0.33 PW + 7.3 to the outside.
    """
    middle = (front_left + front_right) / 2
    width = np.linalg.norm(front_right - front_left, axis=-1)
    depth = np.linalg.norm(middle - back, axis=-1)
    outside = -1.0 if side == "left" else 1.0
    place = np.stack(
        [-0.24 * depth - 0.0099, -0.30 * width - 0.0109, outside * (0.33 * width + 0.0073)],
        axis=-1,
    )
    return np.asarray(middle + (pelvis_frame(front_left, front_right, back) @ place[..., None])[..., 0])


def _long_axis_frame(along: FloatArray, rightward: FloatArray) -> FloatArray:
    y = _unit(along)
    z = _unit(_across(rightward, y))
    return np.stack([np.cross(y, z), y, z], axis=-1)


def _rightward(lateral: FloatArray, medial: FloatArray, side: str) -> FloatArray:
    """The line between two landmarks of a limb, pointing to the runner's right."""
    return np.asarray(medial - lateral if side == "left" else lateral - medial)


def _across(line: FloatArray, axis: FloatArray) -> FloatArray:
    """The part of ``line`` at right angles to the unit vector ``axis``."""
    return np.asarray(line - (line * axis).sum(axis=-1, keepdims=True) * axis)


def _unit(line: FloatArray) -> FloatArray:
    """The same direction at length 1; NaN for no length at all."""
    length = np.linalg.norm(line, axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(length > 0, line / length, np.nan))
