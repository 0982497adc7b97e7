"""True moments, powers and work of ankle, knee and hip, from the motion and the ground's force behind a simulated trial.

The leg below a joint is taken as one body: what its segments' mass and inertia ask for, less what the ground gives,
all about the joint. The pipeline goes from segment to segment instead, so that a slip in one cannot hide in the other.
Segment parameters are the published ones that the pipeline has, too (de Leva 1996).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.steps import Step
from demo_site_uploads.simulator.trial import SimulatedTrial, load_of
from demo_site_uploads.simulator.vertical_force import G
from pipelines.science.joints.segments import segments_for

FloatArray = NDArray[np.float64]

JOINTS = ("ankle", "knee", "hip")
#: The joint's own extension, seen from the runner's right: plantarflexion and hip extension turn clockwise.
_EXTENDS = {"ankle": -1.0, "knee": 1.0, "hip": -1.0}
_SAMPLE_S = 0.0005
_LEAST_RISE_DEG = 5.0  # of the ankle, for a slope to be told


@dataclass(frozen=True)
class TrueLoad:
    """One joint in one contact. times_s: (m,) on the trial's clock; moment (m,) N.m/kg, extensors positive; power (m,) W/kg."""

    times_s: FloatArray
    moment: FloatArray
    power: FloatArray

    @property
    def work(self) -> tuple[float, float]:
        """Positive and negative work in J/kg."""
        above, below = np.maximum(self.power, 0), np.minimum(self.power, 0)
        return float(np.trapezoid(above, self.times_s)), float(np.trapezoid(below, self.times_s))


def true_loads(trial: SimulatedTrial, step: Step, toe_share: float) -> dict[str, TrueLoad]:
    """Joint -> load over the contact, without noise or filter, between the moments next to contact and toe-off.

    toe_share: the tip of the foot lies so many times as far from the heel marker as that of the second metatarsal head.
    """
    assert trial.motion is not None
    t = np.arange(step.contact_s + 2 * _SAMPLE_S, step.toe_off_s - 2 * _SAMPLE_S, _SAMPLE_S)
    around = np.concatenate([[t[0] - _SAMPLE_S], t, [t[-1] + _SAMPLE_S]])
    places = _points(trial.motion.markers(around), step.side, toe_share)
    load = load_of(around, step, trial.motion.body, trial.runner)
    found = {}
    for joint in JOINTS:
        moment = _EXTENDS[joint] * _about(joint, places, load.force, load.cop, trial)[1:-1] / trial.runner.mass_kg
        rate = _EXTENDS[joint] * _turning(joint, places)[1:-1]
        found[joint] = TrueLoad(t, moment, moment * rate)
    return found


def quasi_stiffness(load: TrueLoad, dorsiflexion_deg: FloatArray) -> float:
    """Slope of the ankle's moment over dorsiflexion (m,), from its least before its greatest to that; NaN if it hardly bends."""
    top = int(np.argmax(dorsiflexion_deg))
    low = int(np.argmin(dorsiflexion_deg[: top + 1]))
    if dorsiflexion_deg[top] - dorsiflexion_deg[low] < _LEAST_RISE_DEG:
        return float("nan")
    span = slice(low, top + 1)
    return float(np.polyfit(dorsiflexion_deg[span], load.moment[span], 1)[0])


def _points(markers: Mapping[str, FloatArray], side: str, toe_share: float) -> dict[str, FloatArray]:
    """(n, 2) forward and up of the ends of the segments."""
    own = {
        name: markers[f"{role}_{side}"][:, :2]
        for name, role in {
            "heel": "calcaneus",
            "ball": "second_metatarsal_head",
            "ankle": "lateral_malleolus",
            "knee": "lateral_femoral_epicondyle",
            "hip": "greater_trochanter",
        }.items()
    }
    return own | {"toe": own["heel"] + toe_share * (own["ball"] - own["heel"])}


_ENDS = {"foot": ("heel", "toe"), "shank": ("knee", "ankle"), "thigh": ("hip", "knee")}
_BELOW = {"ankle": ("foot",), "knee": ("foot", "shank"), "hip": ("foot", "shank", "thigh")}
_BETWEEN = {"ankle": ("foot", "shank"), "knee": ("shank", "thigh"), "hip": ("thigh", None)}  # the pelvis keeps level


def _about(
    joint: str, places: Mapping[str, FloatArray], force: FloatArray, cop: FloatArray, trial: SimulatedTrial
) -> FloatArray:
    pivot = places[joint]
    total = -_cross(cop[:, :2] - pivot, force[:, :2])
    for name, own in segments_for(trial.runner.sex).items():
        if name not in _BELOW[joint]:
            continue
        near, far = (places[end] for end in _ENDS[name])
        centre = near + own.centre_fraction * (far - near)
        mass = own.mass_fraction * trial.runner.mass_kg
        inertia = mass * (own.gyration_fraction * np.linalg.norm(far - near, axis=1).mean()) ** 2
        needed = mass * (_twice(centre) + np.array([0.0, G]))
        total = total + _cross(centre - pivot, needed) + inertia * _twice(_angle(places, name))
    return total


def _turning(joint: str, places: Mapping[str, FloatArray]) -> FloatArray:
    """How fast the lower segment turns against the upper one, rad/s."""
    lower, upper = _BETWEEN[joint]
    assert lower is not None
    still = np.zeros(len(places["heel"]))
    return np.asarray(_once(_angle(places, lower)) - (_once(_angle(places, upper)) if upper else still))


def _angle(places: Mapping[str, FloatArray], segment: str) -> FloatArray:
    near, far = (places[end] for end in _ENDS[segment])
    return np.unwrap(np.arctan2((far - near)[:, 1], (far - near)[:, 0]))


def _once(values: FloatArray) -> FloatArray:
    return np.gradient(values, _SAMPLE_S, axis=0)


def _twice(values: FloatArray) -> FloatArray:
    found = np.full(values.shape, np.nan)
    found[1:-1] = (values[2:] - 2 * values[1:-1] + values[:-2]) / _SAMPLE_S**2
    return found


def _cross(lever: FloatArray, force: FloatArray) -> FloatArray:
    return np.asarray(lever[:, 0] * force[:, 1] - lever[:, 1] * force[:, 0])
