"""Mass, centre of mass and inertia of foot, shank and thigh. How they move and what moves them is in ``joint_moments``.

Source: de Leva P 1996, Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters, J Biomech 29:1223-1230,
Table 4, as stored in demotu/BMC (CC BY 4.0), data/BSPmale_ZdeLeva.txt and data/BSPfemale_ZdeLeva.txt.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from schemas.trial import FloatArray

Sex = Literal["female", "male", "mean"]


@dataclass(frozen=True)
class Segment:
    """One body segment, as fractions of body mass and of its length.

    centre_fraction: place of the centre of mass from the first end (thigh: hip, shank: knee, foot: heel) to the second
    (knee, ankle, tip of the toes). gyration_fraction: radius of gyration about the sideways axis through the centre of
    mass, de Leva's "transverse"; it is the one that counts for movement in the sagittal plane.
    """

    mass_fraction: float
    centre_fraction: float
    gyration_fraction: float

    def centre_of_mass(self, first_end: FloatArray, second_end: FloatArray) -> FloatArray:
        """Path of the centre of mass, in the shape and unit of the two ends, for example (n, 3) m."""
        return np.asarray(first_end + self.centre_fraction * (second_end - first_end), float)

    def inertia(self, mass_kg: float, length_m: float) -> float:
        """Moment of inertia in kg.m2 about the sideways axis through the centre of mass, for a body mass in kg."""
        return self.mass_fraction * mass_kg * (self.gyration_fraction * length_m) ** 2


SEGMENTS: dict[str, dict[str, Segment]] = {
    "female": {
        "thigh": Segment(0.1478, 0.3612, 0.364),
        "shank": Segment(0.0481, 0.4352, 0.263),
        "foot": Segment(0.0129, 0.4014, 0.279),
    },
    "male": {
        "thigh": Segment(0.1416, 0.4095, 0.329),
        "shank": Segment(0.0433, 0.4395, 0.246),
        "foot": Segment(0.0137, 0.4415, 0.245),
    },
}


def segments_for(sex: str | None, otherwise: Sex = "mean") -> dict[str, Segment]:
    """Foot, shank and thigh of one sex. For any word but female and male, and for None, those of ``otherwise``.

    ``mean`` is the mean of the two published columns, parameter by parameter: our own choice, not a published set.
    """
    chosen = sex if sex in SEGMENTS else otherwise
    return SEGMENTS[chosen] if chosen in SEGMENTS else {name: _mean(name) for name in SEGMENTS["female"]}


def _mean(name: str) -> Segment:
    a, b = SEGMENTS["female"][name], SEGMENTS["male"][name]
    return Segment(
        (a.mass_fraction + b.mass_fraction) / 2,
        (a.centre_fraction + b.centre_fraction) / 2,
        (a.gyration_fraction + b.gyration_fraction) / 2,
    )
