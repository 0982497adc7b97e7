"""Footswitches under the feet: closed while the foot carries more than a little, and bouncing when they close."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.steps import Step

FloatArray = NDArray[np.float64]

CLOSES_AT_N = 60.0
CLOSED_V, NOISE_V = 5.0, 0.02
BOUNCE_AFTER_S, BOUNCE_S = 0.006, 0.002


def times_above(step: Step, newtons: float) -> tuple[float, float]:
    """First and last moment of a footfall with more vertical force than that, s on the trial's clock."""
    fine = np.linspace(0, step.contact_time_s, 20001)
    loaded = fine[step.force.at(fine) > newtons]
    return step.contact_s + float(loaded[0]), step.contact_s + float(loaded[-1])


def switch_v(steps: tuple[Step, ...], side: str, t: FloatArray, rng: np.random.Generator) -> FloatArray:
    """The switch of one foot (n,) in V at times t on the trial's clock."""
    closed = np.zeros(len(t), bool)
    for step in steps:
        if step.side != side:
            continue
        start, end = times_above(step, CLOSES_AT_N)
        bounce = start + BOUNCE_AFTER_S
        closed |= (t >= start) & (t < end) & ~((t >= bounce) & (t < bounce + BOUNCE_S))
    return CLOSED_V * closed + NOISE_V * rng.standard_normal(len(t))
