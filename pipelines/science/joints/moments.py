"""Net joint moments in the sagittal plane by inverse dynamics. Pure mechanics: no filtering, no footfalls, no tables.

Moments and angular accelerations are counter-clockwise positive as seen from the runner's right. A joint's moment is
what the proximal segment does to the distal one; signs by function (plantarflexor, extensor) are given in ``extensor``.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipelines.science.joints.angles import direction, wrapped
from pipelines.science.joints.segments import Segment
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import FORWARD, UP, FloatArray

_PLANE = [FORWARD, UP]
_WEIGHT = np.array([0.0, -STANDARD_GRAVITY])
#: Segments from the ground upwards: name, its two ends, and the joint at its upper one.
CHAIN = (("foot", "heel", "toe", "ankle"), ("shank", "knee", "ankle", "knee"), ("thigh", "hip", "knee", "hip"))
#: a positive moment about the rightward axis bends the hip, stretches the knee and lifts the toes
_EXTENDS = {"ankle": -1.0, "knee": 1.0, "hip": -1.0}


def extensor(joint: str, moment: FloatArray) -> FloatArray:
    """The same moment with plantarflexor, knee extensor and hip extensor positive."""
    return np.asarray(_EXTENDS[joint] * moment)


def about(place: FloatArray, ground_force: FloatArray, ground_moment: FloatArray) -> FloatArray:
    """(n,) N.m by which the ground turns the leg about a point (n, 3) m in the plane; joints work against it.

    ground_force, ground_moment: as in ``joint_moments``, which has the segments' own weight and inertia besides.
    """
    return np.asarray(ground_moment[:, 2] - _cross(place[:, _PLANE], ground_force[:, _PLANE]))


def joint_moments(
    points: Mapping[str, FloatArray],
    ground_force: FloatArray,
    ground_moment: FloatArray,
    rate_hz: float,
    mass_kg: float,
    segments: Mapping[str, Segment],
) -> dict[str, FloatArray]:
    """Moments in N.m, (n,) each, at ankle, knee and, where ``points`` has a hip, hip.

    points: ``heel``, ``toe`` (tip of the foot), ``ankle``, ``knee`` and perhaps ``hip``, (n, 3) m in an inertial frame.
    ground_force: (n, 3) N on the foot. ground_moment: (n, 3) N.m of the same about the study's origin; using it whole
    is the same as laying the force through the centre of pressure, but needs no division by a force near zero. The
    free moment is vertical and has no part in this plane.
    Newton-Euler from the foot upwards; accelerations are central second differences, so the first and last sample
    and the neighbours of missing ones are NaN.
    """
    push = np.asarray(ground_force, float)[:, _PLANE]
    twist = np.asarray(ground_moment, float)[:, 2]
    place = {name: np.asarray(path, float)[:, _PLANE] for name, path in points.items()}
    moments: dict[str, FloatArray] = {}
    for name, first, second, joint in CHAIN:
        if joint not in place:
            break
        segment = segments[name]
        centre = segment.centre_of_mass(place[first], place[second])
        length = _mean_distance(place[first], place[second])
        inertia = segment.inertia(mass_kg, length)
        mass = segment.mass_fraction * mass_kg
        force = mass * (_second_difference(centre, rate_hz) - _WEIGHT) - push
        spin = _angular_acceleration(direction(points[second], points[first]), rate_hz)
        about_centre = twist - _cross(centre, push)
        moment = inertia * spin - about_centre - _cross(place[joint] - centre, force)
        moments[joint] = moment
        # what this segment does to the next one up, as a force and its moment about the origin
        push, twist = -force, -moment - _cross(place[joint], force)
    return moments


def _second_difference(values: FloatArray, rate_hz: float) -> FloatArray:
    """Central second difference times rate squared, NaN at both ends; one sample off is 2 N.m at the hip at 10 kHz."""
    result = np.full(values.shape, np.nan)
    result[1:-1] = (values[2:] - 2 * values[1:-1] + values[:-2]) * rate_hz**2
    return result


def _angular_acceleration(angle_deg: FloatArray, rate_hz: float) -> FloatArray:
    """rad/s2 from a direction in deg that may jump by a whole turn."""
    result = np.full(angle_deg.shape, np.nan)
    steps = np.radians(wrapped(np.diff(angle_deg)))
    result[1:-1] = np.diff(steps) * rate_hz**2
    return result


def _mean_distance(a: FloatArray, b: FloatArray) -> float:
    """Mean of the distance where it is known; NaN if it never is."""
    distance = np.linalg.norm(a - b, axis=1)
    known = distance[np.isfinite(distance)]
    return float(known.mean()) if len(known) else float("nan")


def _cross(lever: FloatArray, force: FloatArray) -> FloatArray:
    return np.asarray(lever[:, 0] * force[:, 1] - lever[:, 1] * force[:, 0])
