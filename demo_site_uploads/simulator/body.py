"""Segment lengths and marker places of a runner. Rigid: a distance within foot, shank or thigh never changes.

Lengths as shares of stature are common practice. Foot frame: origin under the back of the heel on the sole,
x forward along the foot, y up from the sole, z outward (right on the right foot, left on the left).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.runner import Runner

FloatArray = NDArray[np.float64]

BALL_SHARE = 0.72  # metatarsal heads, share of foot length from the heel
SIDES = ("left", "right")
OUTWARD = {"left": -1.0, "right": 1.0}  # along the study's Z, which points right


@dataclass(frozen=True)
class Body:
    """Lengths in m. ``foot_markers``: role -> place in the foot frame; the lateral malleolus is also the shank's end."""

    foot_m: float
    shank_m: float
    thigh_m: float
    hip_half_width_m: float
    sole_m: float
    foot_markers: dict[str, FloatArray]

    @property
    def ankle(self) -> FloatArray:
        """The lateral malleolus in the foot frame."""
        return self.foot_markers["lateral_malleolus"]


def body_of(runner: Runner, sole_m: float) -> Body:
    """The runner's body in a shoe that adds ``sole_m`` under the foot."""
    h = runner.stature_m
    foot = 0.152 * h
    places = {
        "calcaneus": (-0.004, 0.042, 0.0),
        "second_metatarsal_head": (BALL_SHARE * foot, 0.058, 0.0),
        "first_metatarsal_head": (0.73 * foot, 0.036, -0.046),
        "fifth_metatarsal_head": (0.61 * foot, 0.026, 0.052),
        "lateral_malleolus": (0.24 * foot, 0.043 * h, 0.036),
        "medial_malleolus": (0.26 * foot, 0.049 * h, -0.034),
    }
    markers = {role: np.array([x, y + sole_m, z]) for role, (x, y, z) in places.items()}
    ankle_height = 0.043 * h
    shank = 0.246 * h
    thigh = (runner.leg_length_m - ankle_height - shank) / 0.999
    return Body(foot, shank, thigh, 0.094 * h, sole_m, markers)
