"""Vertical ground reaction force of one contact: the two-mass model.

Source: Clark KP, Ryan LJ, Weyand PG (2017) J Exp Biol 220:247-258, and (2014) J Exp Biol 217:2037-2040. Foot and
shank (8 % of body mass) stop first and make the impact; the rest of the body makes the long pulse.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

G = 9.80665
LOWER_LEG_SHARE = 0.08
ACTIVE_PEAK_SHARE = 0.47  # time of the long pulse's peak as part of contact


@dataclass(frozen=True)
class Pulse:
    """Half a raised cosine up over ``lead`` seconds and one down over ``trail``; peak ``height`` N at ``centre`` s."""

    height: float
    centre: float
    lead: float
    trail: float

    def at(self, t: FloatArray) -> FloatArray:
        """Force in N at times since contact."""
        width = np.where(t < self.centre, self.lead, self.trail)
        phase = (t - self.centre) / width
        return np.where(np.abs(phase) < 1, self.height / 2 * (1 + np.cos(np.pi * phase)), 0.0)

    @property
    def impulse(self) -> float:
        """N.s."""
        return self.height * (self.lead + self.trail) / 2


@dataclass(frozen=True)
class VerticalForce:
    """One contact: an impact pulse and a rest-of-body pulse."""

    impact: Pulse
    rest: Pulse
    contact_time_s: float

    def at(self, t: FloatArray) -> FloatArray:
        """Force in N at times since contact; zero outside contact."""
        return self.impact.at(t) + self.rest.at(t)

    @property
    def impulse(self) -> float:
        """N.s of the whole contact."""
        return self.impact.impulse + self.rest.impulse


def two_mass_force(
    mass_kg: float,
    contact_time_s: float,
    flight_time_s: float,
    impact_rise_s: float,
    impact_speed_m_per_s: float,
    g: float = G,
) -> VerticalForce:
    """The contact whose impulse carries the body over contact and flight.

    flight_time_s: mean of the flights before and after, which makes the impulse equal weight times time over any
    number of whole steps. impact_rise_s: touchdown until the lower leg has stopped; impact_speed_m_per_s: the speed
    it loses.
    """
    impulse = mass_kg * g * (contact_time_s + flight_time_s)
    impact_mean = LOWER_LEG_SHARE * mass_kg * (impact_speed_m_per_s / impact_rise_s + g)
    rest_mean = (impulse - impact_mean * 2 * impact_rise_s) / contact_time_s
    peak = ACTIVE_PEAK_SHARE * contact_time_s
    return VerticalForce(
        Pulse(2 * impact_mean, impact_rise_s, impact_rise_s, impact_rise_s),
        Pulse(2 * rest_mean, peak, peak, contact_time_s - peak),
        contact_time_s,
    )
