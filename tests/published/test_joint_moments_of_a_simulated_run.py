"""Ankle and knee moments against a simulated run whose true joint moments are known.

Van den Bogert's simulated running (isbweb.org/data/invdyn; demotu/BMC, CC BY 4.0, data/all.kin, all.frc, all.mom).
Only single rows are kept (``values``), too far apart for accelerations. They serve where the foot lies flat and
nearly still, from 87 to 150 ms after contact; what is left out there is the foot's own inertia (at 60 ms, when it is
still settling, that is 1.35 N.m).
"""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.joints.moments import extensor, joint_moments
from pipelines.science.joints.segments import Segment
from tests.published.values import numbers

#: foot of the simulation: 1.00 kg, its centre of mass at the ankle, 0.0200 kg.m2
FOOT = Segment(1.0, 0.0, 1.0)


def test_the_ankle_moment_of_a_foot_that_lies_flat_is_the_simulations() -> None:
    flat = [row for row in numbers("simrun_truth_samples") if 87 <= row["ms_after_row_3000"] <= 150]
    assert len(flat) == 4
    for row in flat:
        ankle, toe = (np.tile([row[f"{p}_x"], row[f"{p}_y"], 0.0], (3, 1)) for p in ("ankle", "toe"))
        force = np.tile([row["Fx_N"], row["Fy_N"], 0.0], (3, 1))
        moment = np.cross([row["COPx_m"], 0.0, 0.0], force)
        found = joint_moments({"heel": ankle, "toe": toe, "ankle": ankle}, force, moment, 1e4, 1.0, {"foot": FOOT})
        # true moments run from -123 to -145 N.m, dorsiflexor positive; the largest miss is 0.43 N.m, at 87 ms
        assert found["ankle"][1] == pytest.approx(row["M_ankle_Nm"], abs=0.5)
        assert extensor("ankle", found["ankle"])[1] > 100


def test_the_knee_moment_over_a_leg_that_moves_little_is_the_simulations_but_for_the_shanks_own_inertia() -> None:
    """From 60 to 150 ms; the shank's mass is not in the rows, and what it is worth there is 7.6 to 9.8 N.m."""
    massless = Segment(1e-9, 0.5, 0.3)
    rows = [row for row in numbers("simrun_truth_samples") if 60 <= row["ms_after_row_3000"] <= 150]
    assert len(rows) == 5
    for row in rows:
        points = {p: np.tile([row[f"{p}_x"], row[f"{p}_y"], 0.0], (3, 1)) for p in ("knee", "ankle", "toe")}
        force = np.tile([row["Fx_N"], row["Fy_N"], 0.0], (3, 1))
        moment = np.cross([row["COPx_m"], 0.0, 0.0], force)
        points["heel"] = points["ankle"]
        found = joint_moments(points, force, moment, 1e4, 1.0, {"foot": FOOT, "shank": massless})
        assert row["M_knee_Nm"] > 50
        assert 5 < found["knee"][1] - row["M_knee_Nm"] < 12
        assert extensor("knee", found["knee"])[1] > 0
