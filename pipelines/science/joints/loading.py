"""What moments of a contact become in ``footfall_joints``, column by joint. The mechanics are in ``power``."""

from __future__ import annotations

import numpy as np

from pipelines.science.joints.loads import During
from pipelines.science.joints.power import quasi_stiffness, tendon_force_bw, work
from schemas.trial import FloatArray

MOMENT = "moment_peak_nm_per_kg"
POWERS = ("power_peak_w_per_kg", "power_lowest_w_per_kg", "positive_work_j_per_kg", "negative_work_j_per_kg")
STIFFNESS = "quasi_stiffness_nm_per_kg_deg"
TENDON = ("achilles_force_peak_bw", "achilles_impulse_bw_s")
#: Columns of ``footfall_joints`` that are made of moments.
LOADS = (MOMENT, *POWERS, STIFFNESS, *TENDON)

Loads = dict[str, dict[str, float]]


def joint_loads(during: During | None, moment_arm_m: float) -> Loads:
    """Joint -> column -> value of one contact; NaN where a sample is missing, no column where it does not apply."""
    if during is None:
        return {}
    found = of_joints(during, during.moments, during.extending)
    loads: Loads = {joint: {} for joint in during.joints}
    for column, values in found.items():
        for joint, value in zip(during.joints, values.tolist(), strict=True):
            loads[joint][column] = value
    for column, alone in of_ankle(during, during.moments[during.joints.index("ankle")], moment_arm_m).items():
        loads["ankle"][column] = float(alone)
    return loads


def of_joints(during: During, moments: FloatArray, extending: FloatArray) -> dict[str, FloatArray]:
    """Columns that every joint has, (...) of moments and rates (..., m), at the times of ``during``."""
    power = moments * extending
    positive, negative = work(during.times_s, power)
    values = (moments.max(axis=-1), power.max(axis=-1), power.min(axis=-1), positive, negative)
    return dict(zip((MOMENT, *POWERS), values, strict=True))


def of_ankle(during: During, moment: FloatArray, moment_arm_m: float) -> dict[str, FloatArray]:
    """Columns of the ankle alone, (...) of its moment (..., m)."""
    tendon = tendon_force_bw(moment, moment_arm_m)
    half = np.diff(during.times_s) / 2
    values = (tendon.max(axis=-1), (tendon[..., 1:] + tendon[..., :-1]) @ half)
    found = dict(zip(TENDON, values, strict=True))
    slope = quasi_stiffness(moment, during.dorsiflexion_deg)
    return found if slope is None else found | {STIFFNESS: slope}
