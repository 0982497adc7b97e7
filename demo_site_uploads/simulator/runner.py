"""The invented runners and how each runs in each condition.

Directions between conditions follow common practice: from cushioned to thin-soled to unshod the foot lands flatter
or on its front, the first impact gets lower or goes, contact and flight get shorter, so strides get shorter.
Sizes are ours, within the published ranges (for example Divert et al. 2005 IJSM 26:593 for the impact peak).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

WEEK_OF_VISIT = {"week_0": 0, "week_5": 5, "week_10": 10}


@dataclass(frozen=True)
class Gait:
    """How one runner runs in one condition at the study's speed."""

    contact_time_s: float
    flight_time_s: float
    impact_rise_s: float
    impact_speed_m_per_s: float
    strike_deg: float  # sole to ground at contact, toes up positive
    cop_start: float  # centre of pressure at contact, share of foot length from the heel
    braking_bw: float
    sole_m: float  # what the shoe adds under the foot


@dataclass(frozen=True)
class Runner:
    """One invented runner. ``habit_deg`` shifts the strike angle, ``hardness`` scales the impact speed."""

    participant_id: str
    sex: str
    birth_year: int
    stature_m: float
    mass_kg: float
    contact_time_s: float
    flight_time_s: float
    habit_deg: float = 0.0
    hardness: float = 1.0
    habitual_footwear: str = "cushioned"
    weekly_distance_km: float = 35.0
    economy: float = 1.0  # factor on what a metre costs

    @property
    def leg_length_m(self) -> float:
        """Greater trochanter to ground, standing unshod: 0.53 of stature (common practice)."""
        return round(0.53 * self.stature_m, 3)


_GAITS = {  # contact and flight here are factors on the runner's own cushioned times
    "cushioned": Gait(1.00, 1.00, 0.025, 1.75, 15.0, 0.12, 0.30, 0.028),
    "thin_soled": Gait(0.97, 0.95, 0.025, 1.30, 4.0, 0.44, 0.28, 0.010),
    "unshod": Gait(0.94, 0.90, 0.038, 1.10, -6.0, 0.77, 0.26, 0.0),
}

RUNNERS = {
    runner.participant_id: runner
    for runner in (
        Runner("FS-01", "female", 1988, 1.66, 58.4, 0.244, 0.112, habit_deg=1.5),
        Runner("FS-02", "male", 1979, 1.81, 76.9, 0.258, 0.104, habit_deg=-1.0, hardness=1.05),
        Runner("FS-03", "male", 1993, 1.76, 68.2, 0.248, 0.116, weekly_distance_km=52.0),
        Runner("FS-04", "female", 1984, 1.70, 61.7, 0.250, 0.106, habit_deg=2.0, hardness=0.95),
        Runner("FS-05", "male", 1990, 1.85, 81.3, 0.262, 0.108, habit_deg=-0.5, weekly_distance_km=28.0),
        Runner("FS-06", "other", 1996, 1.72, 64.0, 0.246, 0.110, habit_deg=0.5),
        Runner("FS-07", "female", 1975, 1.63, 55.1, 0.240, 0.108, hardness=1.04),
        Runner("FS-08", "male", 1982, 1.78, 72.5, 0.254, 0.110, habitual_footwear="thin_soled"),
        Runner("FS-09", "female", 1991, 1.68, 60.2, 0.248, 0.108),
        Runner("FS-10", "male", 1987, 1.79, 74.1, 0.256, 0.108, habit_deg=-1.5, economy=1.03),
        Runner("FS-11", "female", 1994, 1.67, 57.6, 0.246, 0.110, habit_deg=1.0, economy=0.97),
        Runner("FS-12", "male", 1981, 1.83, 79.4, 0.260, 0.108, hardness=1.03, economy=1.04),
        Runner("FS-13", "female", 1998, 1.64, 54.3, 0.242, 0.112, habit_deg=-0.5, economy=0.95),
        Runner("FS-14", "male", 1977, 1.75, 70.9, 0.252, 0.106, habit_deg=1.5, weekly_distance_km=44.0),
        Runner("FS-15", "female", 1989, 1.71, 62.8, 0.250, 0.110, hardness=0.97, economy=1.01),
        Runner("FS-16", "male", 1985, 1.77, 71.7, 0.252, 0.112, habit_deg=0.5, economy=0.98),
        Runner("FS-17", "male", 1992, 1.80, 76.0, 0.256, 0.108, hardness=1.02, weekly_distance_km=41.0),
    )
}


def gait_of(runner: Runner, condition: str, visit: str) -> Gait:
    """The runner's gait in ``condition``; by ``visit`` the foot lands a little flatter each week."""
    base = _GAITS[condition]
    return replace(
        base,
        contact_time_s=base.contact_time_s * runner.contact_time_s,
        flight_time_s=base.flight_time_s * runner.flight_time_s,
        impact_speed_m_per_s=base.impact_speed_m_per_s * runner.hardness,
        strike_deg=base.strike_deg + runner.habit_deg - 0.1 * WEEK_OF_VISIT[visit],
    )
