"""A pelvis and two legs built from joint angles, for tests of joints. Angles go in by scipy, landmarks come out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation

from schemas.trial import FileFacts, Plate, Posture, Trial

THIGH_M, SHANK_M = 0.40, 0.42
#: Harrington et al. 2007 for a pelvis 0.24 m wide and 0.16 m deep, worked out by hand
HIP_CENTRE = np.array([-0.24 * 0.16 - 0.0099, -0.30 * 0.24 - 0.0109, 0.33 * 0.24 + 0.0073])
MIRROR = np.array([1.0, 1.0, -1.0])
STRAIGHT = {"hip": (0.0, 0.0, 0.0), "knee": (0.0, 0.0, 0.0), "ankle": (0.0, 0.0, 0.0)}


def leg(angles: Mapping[str, Any], side: str, pelvis_turn: Rotation | None = None) -> dict[str, np.ndarray]:
    """Landmarks (n, 3) m of the pelvis and one leg, the middle of the anterior spines at the origin.

    angles: joint -> (n, 3) or (3,) deg with the trade's signs (flexion, adduction or inversion, internal rotation).
    The leg is built as a right one, with intrinsic turns Z, X, Y, and a left one is its mirror image.
    """
    turn = {}
    for joint, deg in angles.items():
        right = np.atleast_2d(np.asarray(deg, float)) * [-1.0 if joint == "knee" else 1.0, 1.0, 1.0]
        turn[joint] = Rotation.from_euler("ZXY", right, degrees=True)
    thigh = turn["hip"]
    shank = thigh * turn["knee"]
    foot = shank * turn["ankle"]
    n = max(len(np.atleast_2d(a)) for a in angles.values())
    knee = HIP_CENTRE + thigh.apply([0, -THIGH_M, 0])
    ankle = knee + shank.apply([0, -SHANK_M, 0])
    right = {
        "greater_trochanter": HIP_CENTRE + thigh.apply([0, 0, 0.06]),
        "lateral_femoral_epicondyle": knee + thigh.apply([0, 0, 0.05]),
        "medial_femoral_epicondyle": knee - thigh.apply([0, 0, 0.05]),
        "lateral_malleolus": ankle + shank.apply([0, 0, 0.035]),
        "medial_malleolus": ankle - shank.apply([0, 0, 0.035]),
        "calcaneus": ankle + foot.apply([-0.05, -0.06, 0.0]),
        "second_metatarsal_head": ankle + foot.apply([0.13, -0.06, 0.0]),
        "fifth_metatarsal_head": ankle + foot.apply([0.11, -0.06, 0.04]),
        "first_metatarsal_head": ankle + foot.apply([0.12, -0.06, -0.04]),
        "anterior_superior_iliac_spine": np.array([[0.0, 0.0, 0.12]]),
        "posterior_superior_iliac_spine": np.array([[-0.16, 0.0, 0.05]]),
    }
    place = {role: np.broadcast_to(path, (n, 3)) * (1 if side == "right" else MIRROR) for role, path in right.items()}
    return {
        f"{role}_{side}": np.asarray(path if pelvis_turn is None else pelvis_turn.apply(path))
        for role, path in place.items()
    }


def both_legs(angles: Mapping[str, Mapping[str, Any]], pelvis_turn: Rotation | None = None) -> dict[str, np.ndarray]:
    """Landmarks of the whole lower body; angles: side -> joint -> deg."""
    return {name: path for side, own in angles.items() for name, path in leg(own, side, pelvis_turn).items()}


def standing(turn: Rotation | None = None) -> Posture:
    """Both legs straight, feet at right angles to the shanks."""
    marks = both_legs({"left": STRAIGHT, "right": STRAIGHT}, turn)
    return Posture("T0", "shod", {name: path[0] for name, path in marks.items()})


def a_trial_of(
    markers: dict[str, np.ndarray], plates: tuple[Plate, ...] = (), *, rate: float = 200.0, force_rate: float = 1000.0
) -> Trial:
    """A trial with these markers (n, 3) m and plates, a runner of 70 kg."""
    frames = max(map(len, markers.values()), default=0)
    facts = FileFacts("INTEL", "float", len(markers), frames, rate, "mm", 0, None, tuple(markers))
    unfilled = {name: np.zeros(frames, bool) for name in markers}
    return Trial(
        "T1", "mill", "running", "shod", "treadmill", facts, markers, unfilled, rate, plates,
        force_rate if plates else None, mass_kg=70.0,
    )  # fmt: skip


def footfalls_of(*contacts: tuple[str, float, float], stride_s: float | None = None) -> pd.DataFrame:
    """The columns of footfalls that joints and curves read; contacts: side, contact_s, toe_off_s."""
    return pd.DataFrame(
        {
            "trial_id": "T1",
            "footfall_number": range(1, len(contacts) + 1),
            "side": [c[0] for c in contacts],
            "contact_s": [c[1] for c in contacts],
            "toe_off_s": [c[2] for c in contacts],
            "stride_time_s": pd.Series([stride_s] * len(contacts), dtype="float64"),
        }
    )
