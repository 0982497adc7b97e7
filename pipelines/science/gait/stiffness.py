"""Stiffness of the runner as a mass on a spring, from times alone. Measured forces are in ``force``.

Holds on the level at steady speed: the method is not valid on inclines (Meyer et al. 2023).
"""

from __future__ import annotations

import math

from schemas.mechanics import STANDARD_GRAVITY


def peak_force(mass_kg: float, contact_s: float, flight_s: float, gravity_m_per_s2: float = STANDARD_GRAVITY) -> float:
    """Peak in N of the half-sine that carries the body: m g (pi / 2) (flight / contact + 1) (Morin et al. 2005)."""
    return mass_kg * gravity_m_per_s2 * math.pi / 2 * (flight_s / contact_s + 1)


def fall(mass_kg: float, contact_s: float, flight_s: float, gravity_m_per_s2: float = STANDARD_GRAVITY) -> float:
    """Fall of the centre of mass from contact to mid-contact in m, positive down.

    Integrating the half-sine twice gives F contact^2 / (m pi^2) less g contact^2 / 8 (Morin et al. 2005). The second
    term is often copied with a plus, which makes the fall about three times too large.
    """
    peak = peak_force(mass_kg, contact_s, flight_s, gravity_m_per_s2)
    return peak * contact_s**2 / (mass_kg * math.pi**2) - gravity_m_per_s2 * contact_s**2 / 8


def leg_compression(fall_m: float, leg_length_m: float, speed_m_per_s: float, contact_s: float) -> float | None:
    """Shortening of the leg in m: L - sqrt(L^2 - (v contact / 2)^2) + fall (McMahon & Cheng 1990; Morin et al. 2005).

    Null where half the way of contact is as long as the leg, which no leg can span.
    """
    half = speed_m_per_s * contact_s / 2
    if half >= leg_length_m:
        return None
    return leg_length_m - math.sqrt(leg_length_m**2 - half**2) + fall_m


def vertical_stiffness(
    mass_kg: float,
    contact_s: float,
    flight_s: float | None,
    gravity_m_per_s2: float = STANDARD_GRAVITY,
) -> float | None:
    """Modelled peak force over modelled fall, kN/m. Null without flight time."""
    if flight_s is None:
        return None
    model = mass_kg, contact_s, flight_s, gravity_m_per_s2
    return peak_force(*model) / fall(*model) / 1000


def leg_stiffness(
    mass_kg: float,
    contact_s: float,
    flight_s: float | None,
    leg_length_m: float | None,
    speed_m_per_s: float | None,
    gravity_m_per_s2: float = STANDARD_GRAVITY,
) -> float | None:
    """Modelled peak force over modelled leg compression, kN/m. Null without flight time, leg length or speed."""
    if flight_s is None or leg_length_m is None or speed_m_per_s is None:
        return None
    model = mass_kg, contact_s, flight_s, gravity_m_per_s2
    compression = leg_compression(fall(*model), leg_length_m, speed_m_per_s, contact_s)
    return None if compression is None else peak_force(*model) / compression / 1000
