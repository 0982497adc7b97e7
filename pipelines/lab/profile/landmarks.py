"""Where the landmarks of an upright body lie, as shares of stature, and how much people, shoes and stances vary.

Heights of ankle, knee and hip and the length of the foot are the well-known segment lengths as shares of stature
(Drillis & Contini 1966, as commonly reprinted; from memory). Everything else, and every tolerance, is common practice:
it is only used to guess, and a guess is checked by a person.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Landmark:
    """One place, in shares of stature. up: above the floor. forward: before the ankle. out: from the ankle's middle
    line outward for ``below_knee``, else from the middle of the body outward. Each with a standard deviation."""

    up: tuple[float, float]
    forward: tuple[float, float]
    out: tuple[float, float]
    below_knee: bool = False


#: role without side -> where it is. A role of a study that is not here is guessed from labels alone.
LANDMARKS = {
    "calcaneus": Landmark((0.030, 0.012), (-0.036, 0.014), (0.000, 0.014), below_knee=True),
    "second_metatarsal_head": Landmark((0.034, 0.015), (0.080, 0.014), (0.006, 0.012), below_knee=True),
    "fifth_metatarsal_head": Landmark((0.022, 0.012), (0.060, 0.014), (0.034, 0.012), below_knee=True),
    "first_metatarsal_head": Landmark((0.025, 0.012), (0.080, 0.014), (-0.022, 0.012), below_knee=True),
    "lateral_malleolus": Landmark((0.050, 0.014), (0.000, 0.014), (0.022, 0.012), below_knee=True),
    "medial_malleolus": Landmark((0.054, 0.014), (0.008, 0.014), (-0.024, 0.012), below_knee=True),
    "lateral_femoral_epicondyle": Landmark((0.285, 0.018), (0.020, 0.030), (0.030, 0.016), below_knee=True),
    "medial_femoral_epicondyle": Landmark((0.280, 0.018), (0.020, 0.030), (-0.028, 0.016), below_knee=True),
    "greater_trochanter": Landmark((0.530, 0.016), (0.020, 0.030), (0.095, 0.014)),
    "anterior_superior_iliac_spine": Landmark((0.565, 0.022), (0.070, 0.030), (0.070, 0.014)),
    "posterior_superior_iliac_spine": Landmark((0.570, 0.022), (-0.045, 0.030), (0.026, 0.009)),
    "sacrum": Landmark((0.565, 0.025), (-0.045, 0.030), (0.000, 0.008)),
}
