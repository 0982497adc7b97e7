"""An invented pool of many runners, as the warehouse's tables would hold it; no trial files.

Checks of whole sites need more runners than the demo folder can hold as recordings. Everything here is drawn from
normal distributions; means and spreads are ours, of the usual size for running at about 3 m/s (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

LABS = ("brack", "corrie", "tarn")
CONDITIONS = ("cushioned", "thin_soled", "unshod")
VISITS = ("week_0", "week_5", "week_10")

#: Outcome -> mean, spread between runners, spread of one runner from visit to visit.
OUTCOMES = {
    "contact_time_s": (0.24, 0.018, 0.005),
    "cadence_step_per_min": (168.0, 7.0, 1.5),
    "step_length_m": (1.07, 0.045, 0.01),
    "active_peak_bw": (2.45, 0.15, 0.04),
    "average_loading_rate_bw_per_s": (60.0, 14.0, 5.0),
    "braking_impulse_bw_s": (-0.018, 0.003, 0.001),
    "leg_stiffness_kn_per_m": (12.0, 2.0, 0.6),
    "foot_strike_angle_deg": (9.0, 6.0, 1.5),
}
FORCE_OUTCOMES = ("active_peak_bw", "average_loading_rate_bw_per_s", "braking_impulse_bw_s")
#: Quantity of the equipment -> mean and spread from session to session.
QUANTITIES = {
    "force_scale_ratio": (1.0, 0.004),
    "marker_scale_ratio": (0.92, 0.006),
    "second_clock_drift_ppm": (20.0, 40.0),
}
_DAYS = 35  # between visits
_MASS_CHANGE_KG = 0.7

Pool = dict[str, pd.DataFrame]


def a_pool(
    seed: int,
    runners: int = 20,
    labs: Sequence[str] = LABS,
    visits: Sequence[str] = VISITS,
    conditions: Sequence[str] = CONDITIONS,
    without_force: Sequence[str] = (),
) -> Pool:
    """Tables of a study with ``runners`` at each of ``labs``, every runner at every visit in every condition.

    without_force: labs without plates, whose force outcomes are missing.
    """
    rng = np.random.default_rng(seed)
    people = pd.concat([_people(rng, lab, runners) for lab in labs], ignore_index=True)
    sessions = _sessions(rng, people, visits)
    means = _means(rng, sessions, conditions)
    for column in FORCE_OUTCOMES:
        means.loc[means["site"].isin(without_force), column] = np.nan
    devices = pd.concat([_devices(rng, own, without_force) for _, own in sessions.groupby("site")], ignore_index=True)
    return {"runners": people, "sessions": sessions, "runner_means": means, "device_sessions": devices}


def _people(rng: np.random.Generator, lab: str, count: int) -> pd.DataFrame:
    stature = rng.normal(1.74, 0.08, count)
    mass = 22.0 * stature**2 + rng.normal(0, 5.0, count)
    leg = 0.53 * stature + rng.normal(0, 0.015, count)
    return pd.DataFrame(
        {
            "site": lab,
            "participant_id": [f"{lab}-{number:03d}" for number in range(count)],
            "stature_m": stature.round(2),
            "mass_kg": mass.round(1),
            "leg_length_m": leg.round(3),
        }
    )


def _sessions(rng: np.random.Generator, people: pd.DataFrame, visits: Sequence[str]) -> pd.DataFrame:
    parts = [
        people[["site", "participant_id"]].assign(
            session_id=people["participant_id"] + f"-{visit}",
            visit=visit,
            study_day=_DAYS * number,
            mass_kg=(people["mass_kg"] + rng.normal(0, _MASS_CHANGE_KG, len(people))).round(1),
        )
        for number, visit in enumerate(visits)
    ]
    return pd.concat(parts, ignore_index=True)


def _means(rng: np.random.Generator, sessions: pd.DataFrame, conditions: Sequence[str]) -> pd.DataFrame:
    rows = pd.concat(
        [sessions[["site", "participant_id", "visit"]].assign(condition=c, at_speed="3.0 m/s") for c in conditions],
        ignore_index=True,
    )
    runner = rows["participant_id"].astype("category").cat.codes.to_numpy()
    for column, (mean, between, within) in OUTCOMES.items():
        own = rng.normal(0, between, runner.max() + 1)
        rows[column] = mean + own[runner] + rng.normal(0, within, len(rows))
    return rows


def _devices(rng: np.random.Generator, sessions: pd.DataFrame, without_force: Sequence[str]) -> pd.DataFrame:
    """Every quantity in every session of one lab, sessions in the order in which they stand."""
    site = str(sessions["site"].iloc[0])
    ordered = sessions[["site", "session_id"]].assign(
        point_number=np.arange(1, len(sessions) + 1), delivery_id=f"{site}-001"
    )
    parts = [
        ordered.assign(quantity=quantity, measured_value=rng.normal(mean, spread, len(ordered)), unit_code="")
        for quantity, (mean, spread) in QUANTITIES.items()
        if not (quantity == "force_scale_ratio" and site in without_force)
    ]
    return pd.concat(parts, ignore_index=True)
