"""How the body bounces on its force: rise and fall of its centre of mass, measured stiffness, effective mass of impact.

Modelled stiffness, which needs times alone, is in ``stiffness``.
"""

from __future__ import annotations

import numpy as np

from schemas.mechanics import STANDARD_GRAVITY
from schemas.trial import FloatArray


def heights(times_s: FloatArray, vertical: FloatArray, gravity_m_per_s2: float = STANDARD_GRAVITY) -> FloatArray:
    """Height of the centre of mass over a whole stride, (m,) m, 0 at its start and its end.

    times_s: (m,) s from a contact to the next contact of the same foot. vertical: (m,) force of the ground, any unit.
    Twice the integral of acceleration (Cavagna 1975, J Appl Physiol 39:174, from memory). The two constants are of
    steady running: at its end a stride is as fast and as high as at its start, so that the mean force is body weight,
    whatever the scale of the plate, and the mean vertical speed is nought. Trapezoid rule.
    """
    steps = np.diff(times_s)
    lasts = times_s[-1] - times_s[0]
    weight = ((vertical[1:] + vertical[:-1]) @ steps) / 2 / lasts
    speed = _summed(gravity_m_per_s2 * (vertical / weight - 1), steps)
    return _summed(speed - ((speed[1:] + speed[:-1]) @ steps) / 2 / lasts, steps)


def _summed(values: FloatArray, steps: FloatArray) -> FloatArray:
    """Integral from the start to each sample, trapezoid rule."""
    found = np.zeros_like(values)
    np.cumsum((values[1:] + values[:-1]) / 2 * steps, out=found[1:])
    return found


def falling_speed(times_s: FloatArray, heights_m: FloatArray) -> tuple[float, float]:
    """Downward speed in m/s at time 0 of a place seen before it, and the same of white noise of 1 m at each sample.

    times_s, heights_m: (m,) as recorded, m at least 3, none after time 0. A parabola of least squares: what comes after
    a collision is no part of it, as it is of a filtered path, which begins to stop half a period of the cut-off early.
    """
    row = np.linalg.pinv(np.vander(times_s, 3))[1]
    return -float(row @ heights_m), float(np.linalg.norm(row))


def effective_mass(impulse_bw_s: float, falls_m_per_s: float, lasts_s: float) -> float | None:
    """Part of body mass that the impact stops, of an impulse in body weights times s. Null where nothing fell.

    What falls at ``falls_m_per_s`` is at rest when the impact peak comes, ``lasts_s`` after contact, so that the
    impulse up to then is M (v + g T) (Lieberman et al. 2010, Nature 463:531; Chi & Schmitt 2005, J Biomech 38:1387;
    both from memory).
    """
    stopped = falls_m_per_s + STANDARD_GRAVITY * lasts_s
    return impulse_bw_s * STANDARD_GRAVITY / stopped if falls_m_per_s > 0 else None
