"""What running costs the invented runners, and the breathing gas that a laboratory samples in a bout.

A runner's own way, in cushioned shoes, costs least. Strides shorter than that cost more, with the square of what is
missing (a usual picture of a runner's freely chosen stride; the size is ours). Shoe mass is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_site_uploads.simulator.runner import RUNNERS, Gait, Runner, gait_of
from demo_site_uploads.simulator.tables import Row
from demo_site_uploads.simulator.trial import random_source

OWN_COST_J_PER_KG_M = 4.15  # published: about 4.2 (14.5 W/kg at 3.5 m/s, Looney et al. 2023)
PENALTY = 5.0  # of the square of the missing share of the stride
BOUT_S = 360.0
SAMPLE_S = {"brack": 15.0, "corrie": 30.0, "tarn": 10.0}
REST_ML_PER_KG_MIN = 5.0
OXYGEN_TAU_S, CARBON_DIOXIDE_TAU_S = 28.0, 38.0
NOISE = 0.015
# Peronnet & Massicotte 1991 in the linear form of Kipp et al. 2018: W from mL/s
W_PER_OXYGEN, W_PER_CARBON_DIOXIDE = 16.89, 4.84


@dataclass(frozen=True)
class Bout:
    """One metabolic bout. fault: None, ``not_steady``, ``too_hard`` (exchange ratio above 1) or ``sensor_off``."""

    session_id: str
    participant_id: str
    visit: str
    site: str
    condition: str
    speed_m_per_s: float
    mass_kg: float
    bout: int = 1
    fault: str | None = None

    @property
    def ratio(self) -> float:
        """True respiratory exchange ratio at the end of the bout."""
        if self.fault == "too_hard":
            return 1.06
        return 0.87 + 0.03 * float(random_source(self.session_id + self.condition + "/ratio").uniform(-1, 1))

    @property
    def cost_j_per_kg_m(self) -> float:
        """True energy cost."""
        return true_cost(RUNNERS[self.participant_id], self.condition, self.visit)

    @property
    def power_w_per_kg(self) -> float:
        """True metabolic power at the end of the bout."""
        return self.cost_j_per_kg_m * self.speed_m_per_s

    def rows(self) -> list[Row]:
        """The lines of breaths.csv."""
        rng = random_source(f"{self.session_id}/{self.condition}/{self.bout}/breaths")
        every = SAMPLE_S[self.site]
        end = np.arange(every, BOUT_S + every / 2, every)
        middle = end - every / 2
        oxygen_end = 60 * self.power_w_per_kg * self.mass_kg / (W_PER_OXYGEN + W_PER_CARBON_DIOXIDE * self.ratio)
        rest = REST_ML_PER_KG_MIN * self.mass_kg
        oxygen = rest + (oxygen_end - rest) * (1 - np.exp(-middle / OXYGEN_TAU_S))
        carbon = 0.82 * rest + (oxygen_end * self.ratio - 0.82 * rest) * (1 - np.exp(-middle / CARBON_DIOXIDE_TAU_S))
        if self.fault == "not_steady":  # the runner was still speeding up
            oxygen, carbon = (x * (0.55 + 0.45 * (middle / BOUT_S) ** 2) for x in (oxygen, carbon))
        oxygen *= 1 + NOISE * rng.standard_normal(len(end))
        carbon *= 1 + NOISE * rng.standard_normal(len(end))
        if self.fault == "sensor_off":
            carbon[:] = 0.0
        heart = 70 + 85 * (1 - np.exp(-middle / 45.0)) + rng.standard_normal(len(end))
        return [
            {
                "session_id": self.session_id,
                "condition": self.condition,
                "bout": self.bout,
                "elapsed_s": round(float(end[i])),
                "oxygen_uptake_ml_per_min": round(float(oxygen[i])),
                "carbon_dioxide_output_ml_per_min": round(float(carbon[i])),
                "heart_rate_per_min": round(float(heart[i])),
            }
            for i in range(len(end))
        ]


def true_cost(runner: Runner, condition: str, visit: str) -> float:
    """J/(kg.m): least at the runner's own stride length."""
    missing = 1 - stride_time(gait_of(runner, condition, visit)) / stride_time(gait_of(runner, "cushioned", visit))
    return OWN_COST_J_PER_KG_M * runner.economy * (1 + PENALTY * missing**2)


def stride_time(gait: Gait) -> float:
    """Contact and flight of both feet, s; at one speed stride length goes with it."""
    return 2 * (gait.contact_time_s + gait.flight_time_s)
