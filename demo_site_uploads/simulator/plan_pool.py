"""The invented pool with a fault for every check of whole sites; expected: ``expected_site_findings.csv``."""

from __future__ import annotations

import pandas as pd

from demo_site_uploads.simulator.faults_pool import alike, copied_masses, drifting, left_out, rounded, shifted
from demo_site_uploads.simulator.pool import a_pool

_SEED, _RUNNERS = 1, 20


def clean_pool() -> dict[str, pd.DataFrame]:
    """Twenty runners at each lab, three visits, three conditions; tarn has no plates."""
    return a_pool(_SEED, _RUNNERS, without_force=("tarn",))


def faulty_pool() -> dict[str, pd.DataFrame]:
    """The same with the planned faults, two or three at each lab."""
    pool = clean_pool()
    pool = shifted(pool, "brack", "foot_strike_angle_deg", 40.0)
    pool = drifting(pool, "brack", "second_clock_drift_ppm", 700.0, 20)
    pool = rounded(copied_masses(pool, "corrie"), "corrie", "mass_kg", 0.5)
    pool = drifting(pool, "corrie", "force_scale_ratio", 0.07, 20)
    pool = alike(pool, "runners", "tarn", "stature_m", 0.05)
    pool = left_out(pool, "runners", "tarn", "leg_length_m", 0.67)
    return drifting(pool, "tarn", "marker_scale_ratio", 0.07, 20)
