"""True sagittal angles of ankle, knee and hip, from the motion behind the markers. The formulas are written out anew, so
that a slip in the pipeline's cannot hide in the truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.trial import SimulatedTrial, TrueFootfall

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class TrueJoint:
    """One joint in one contact, deg; nothing subtracted. Flexion and dorsiflexion are positive."""

    at_contact_deg: float
    peak_deg: float
    range_deg: float


def joint_angles(markers: dict[str, FloatArray], side: str) -> dict[str, FloatArray]:
    """Ankle: how far the toes point above level plus how far the shin leans forward. Knee: how far the knee is ahead
    of the hip, seen from the hip, plus how far it is ahead of the ankle, seen from the ankle. Hip: the first of these
    two, as the pelvis keeps level. (n,) deg each.
    """
    heel, ball, ankle, knee, hip = (
        markers[f"{role}_{side}"]
        for role in (
            "calcaneus",
            "second_metatarsal_head",
            "lateral_malleolus",
            "lateral_femoral_epicondyle",
            "greater_trochanter",
        )
    )
    toes_up = np.arctan2(ball[:, 1] - heel[:, 1], ball[:, 0] - heel[:, 0])
    shin_lean = np.arctan2(knee[:, 0] - ankle[:, 0], knee[:, 1] - ankle[:, 1])
    thigh_lift = np.arctan2(knee[:, 0] - hip[:, 0], hip[:, 1] - knee[:, 1])
    return {
        "ankle": np.degrees(toes_up + shin_lean),
        "knee": np.degrees(thigh_lift + shin_lean),
        "hip": np.degrees(thigh_lift),
    }


def true_joints(trial: SimulatedTrial, footfall: TrueFootfall) -> dict[str, TrueJoint]:
    """Joint -> its angles from where force passes 20 N to where it falls below again, without noise or frames."""
    if trial.motion is None:
        raise ValueError(f"{trial.trial_id} is not a running trial")
    t = np.linspace(footfall.contact_at_20n_s, footfall.toe_off_at_20n_s, 400)
    found = joint_angles(trial.motion.markers(t), footfall.side)
    return {joint: TrueJoint(float(a[0]), float(a.max()), float(np.ptp(a))) for joint, a in found.items()}


def standing_angles(trial: SimulatedTrial, side: str) -> dict[str, float]:
    """Joint -> mean angle of a standing trial, deg; to be subtracted where angles count from standing."""
    return {joint: float(a.mean()) for joint, a in joint_angles(trial.markers, side).items()}
