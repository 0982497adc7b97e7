"""The sequence of footfalls of one trial: when, which side, where on the ground, with what force.

Distances are in the ground's frame: x grows along the running direction, z to the runner's right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.body import OUTWARD
from demo_site_uploads.simulator.runner import Gait
from demo_site_uploads.simulator.vertical_force import VerticalForce, two_mass_force

FloatArray = NDArray[np.float64]

HALF_STEP_WIDTH_M = 0.045
REACH_SHARE = 0.36  # ankle ahead of the hip at contact, share of the distance run during contact


@dataclass(frozen=True)
class Step:
    """One footfall. ``heel``: forward and right place of the back of the heel when the foot is flat, m."""

    side: str
    contact_s: float
    contact_time_s: float
    force: VerticalForce
    heel: tuple[float, float]
    strike_deg: float
    cop_start: float
    braking_bw: float

    @property
    def toe_off_s(self) -> float:
        """End of contact."""
        return self.contact_s + self.contact_time_s


@dataclass(frozen=True)
class Course:
    """What is asked of the runner. ``hop_at``: number of the footfall made with the same foot as the one before.

    unevenness: how much more than usual step times vary.
    """

    speed_m_per_s: float
    first_contact_s: float
    until_s: float
    first_side: str = "right"
    hop_at: int | None = None
    steps_before: int = 4
    unevenness: float = 1.0


def steps_of(
    course: Course, gait: Gait, mass_kg: float, ankle_forward_m: float, rng: np.random.Generator
) -> tuple[Step, ...]:
    """Footfalls from ``steps_before`` the first wanted contact until two steps after the trial's end."""
    count = course.steps_before + 3 + int((course.until_s - course.first_contact_s) / 0.28)
    sides = _sides(course, count)
    onset, contact, flight = _times(course, gait, sides, rng)
    jitter = rng.standard_normal((count, 4))
    steps = []
    for i, side in enumerate(sides):
        before = flight[i - 1] if i else gait.flight_time_s
        force = two_mass_force(
            mass_kg,
            float(contact[i]),
            float((before + flight[i]) / 2),
            gait.impact_rise_s,
            gait.impact_speed_m_per_s * (1 + 0.05 * jitter[i, 0]),
        )
        reach = REACH_SHARE * course.speed_m_per_s * contact[i] - ankle_forward_m + 0.008 * jitter[i, 1]
        heel = (
            float(course.speed_m_per_s * onset[i] + reach),
            float(OUTWARD[side] * HALF_STEP_WIDTH_M + 0.006 * jitter[i, 2]),
        )
        strike_deg = gait.strike_deg + 0.7 * jitter[i, 3]
        when = float(onset[i]), float(contact[i])
        steps.append(Step(side, *when, force, heel, strike_deg, gait.cop_start, gait.braking_bw))
    last = next(i for i, s in enumerate(steps) if s.contact_s > course.until_s)
    return tuple(steps[: last + 2])


def _times(
    course: Course, gait: Gait, sides: list[str], rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Onset of each contact, its length, and the flight after it, s: no step is quite like the one before."""
    uneven = np.array([1.006 if side == "right" else 0.994 for side in sides])  # nobody's legs are equal
    contact = gait.contact_time_s * uneven * (1 + 0.010 * course.unevenness * rng.standard_normal(len(sides)))
    flight = gait.flight_time_s * (1 + 0.025 * course.unevenness * rng.standard_normal(len(sides)))
    if course.hop_at is not None:
        flight[course.steps_before + course.hop_at - 1] = 0.24  # long enough to bring the same foot round
    onset = np.concatenate([[0.0], np.cumsum(contact + flight)[:-1]])
    return onset + course.first_contact_s - onset[course.steps_before], contact, flight


def _sides(course: Course, count: int) -> list[str]:
    other = {"left": "right", "right": "left"}
    sides = []
    side = course.first_side if course.steps_before % 2 == 0 else other[course.first_side]
    for i in range(count):
        sides.append(side)
        if course.hop_at is None or i + 1 != course.steps_before + course.hop_at:
            side = other[side]
    return sides
