"""Power and work of joints, the ankle's quasi-stiffness and the load of its tendon, from moments. Pure mechanics.

Moments are extensors' (plantarflexor, knee extensor, hip extensor positive), and joints turn positive the same way, so
that a positive power is generated and a negative one absorbed. Where moments come from is in ``loads``.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipelines.science.joints.angles import direction, wrapped
from pipelines.science.joints.moments import extensor
from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import FloatArray

#: Joint -> the segments whose turning against each other it is; each from its far to its near end, the pelvis from back
#: to front.
_BETWEEN = {"ankle": ("foot", "shank"), "knee": ("shank", "thigh"), "hip": ("thigh", "pelvis")}
_ENDS = {"foot": ("toe", "heel"), "shank": ("ankle", "knee"), "thigh": ("knee", "hip"), "pelvis": ("back", "front")}
#: Own choice: over less dorsiflexion than this a slope says nothing, since markers alone move an angle by a degree.
LEAST_DORSIFLEXION_DEG = 5.0


def extension_rates(points: Mapping[str, FloatArray], rate_hz: float) -> dict[str, FloatArray]:
    """Joint -> how fast it extends, (n,) rad/s, of the joints whose two segments ``points`` has.

    points: (n, 3) m: ``heel``, ``toe``, ``ankle``, ``knee``, ``hip``, and ``back`` and ``front`` of the pelvis, any of
    them. Central differences of the segments' directions, so that the first and last sample and the neighbours of
    missing ones are NaN.
    """
    there = {name: ends for name, ends in _ENDS.items() if set(ends) <= points.keys()}
    turning = {name: _rate(direction(points[a], points[b]), rate_hz) for name, (a, b) in there.items()}
    return {
        joint: extensor(joint, turning[far] - turning[near])
        for joint, (far, near) in _BETWEEN.items()
        if far in turning and near in turning
    }


def _rate(angle_deg: FloatArray, rate_hz: float) -> FloatArray:
    """rad/s from a direction in deg that may jump by a whole turn; NaN at both ends."""
    found = np.full(angle_deg.shape, np.nan)
    steps = np.radians(wrapped(np.diff(angle_deg)))
    found[1:-1] = (steps[1:] + steps[:-1]) / 2 * rate_hz
    return found


def dorsiflexion(points: Mapping[str, FloatArray]) -> FloatArray | None:
    """Foot (heel to tip) against shank in deg, (n,), up to a constant; None without a knee."""
    if "knee" not in points:
        return None
    foot, shank = direction(points["toe"], points["heel"]), direction(points["ankle"], points["knee"])
    return np.asarray(wrapped(foot - shank - 90.0))


def work(times_s: FloatArray, power: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Positive and negative work, (...) each, of power (..., m) at times (m,): its parts above and below 0 integrated.

    Winter 2009 (Biomechanics and Motor Control of Human Movement, ch. 6, from memory). Trapezoid rule; unit of power
    times s. Their sum is the net work; with NaN in the power both are NaN.
    """
    half = np.diff(times_s) / 2
    above, below = np.maximum(power, 0.0), np.minimum(power, 0.0)
    return (above[..., 1:] + above[..., :-1]) @ half, (below[..., 1:] + below[..., :-1]) @ half


def loading_span(dorsiflexion_deg: FloatArray) -> slice | None:
    """The samples of (m,) from the least dorsiflexion before the greatest to the greatest; None if they differ little.

    A heel that lands first lets the foot down before the shank turns over it: that part is no loading of the calf.
    """
    if not np.isfinite(dorsiflexion_deg).all():
        return None
    top = int(np.argmax(dorsiflexion_deg))
    low = int(np.argmin(dorsiflexion_deg[: top + 1]))
    rise = dorsiflexion_deg[top] - dorsiflexion_deg[low]
    return slice(low, top + 1) if rise >= LEAST_DORSIFLEXION_DEG and top - low >= 2 else None


def quasi_stiffness(moment: FloatArray, dorsiflexion_deg: FloatArray) -> FloatArray | None:
    """Slope of plantarflexor moment over dorsiflexion while the ankle is loaded, (...) of (..., m), moment per deg.

    Least squares over ``loading_span``: the slope of the moment-angle loop, as taken for running by Stefanyshyn & Nigg
    1998 (J Appl Biomech 14:292, from memory); change of moment over change of angle in Kuitunen et al. 2002 (Med Sci
    Sports Exerc 34:166). None where the ankle hardly flexes.
    """
    span = loading_span(dorsiflexion_deg)
    if span is None:
        return None
    apart = dorsiflexion_deg[span] - dorsiflexion_deg[span].mean()
    return np.asarray(moment[..., span] @ apart / (apart @ apart))


def tendon_force_bw(plantarflexor_nm_per_kg: FloatArray, moment_arm_m: float) -> FloatArray:
    """Force of the Achilles tendon in body weights if it alone made the moment; 0 where that flexes the other way.

    A model: one moment arm for everybody, at every angle, and no other muscle. Between people the arm differs by a
    tenth and more, so that differences within a runner say more than values do.
    """
    return np.asarray(np.maximum(plantarflexor_nm_per_kg, 0.0) / (moment_arm_m * STANDARD_GRAVITY))
