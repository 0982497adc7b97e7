"""What running costs: the ``energy_bouts`` table from breath or interval samples. Equations: ``energy_equations``.

A bout ends with a plateau: its last whole minutes, after the warm-up. Only there are gases averaged, each sample by
the time it stands for, and only a steady plateau at a respiratory exchange ratio the equations hold for gives a power.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.science.energy.breaths import drift, mean_uncertainty, usable
from pipelines.science.energy.equations import metabolic_power_w
from pipelines.science.frames import frame_of
from schemas.outcomes_study import ENERGY_BOUTS
from schemas.processing import EnergyProcessing, Processing
from schemas.trial import FloatArray

if TYPE_CHECKING:
    import pandas as pd

#: A sample stands for the time since the one before it, at most this many median intervals; the rest is a gap.
#: Own rule: breaths vary about threefold in length, a mask taken off lasts longer.
_LONGEST_IN_MEDIANS = 3.0
_SPEED = "set_speed_m_per_s"
_ROUNDING = 1e-9  # a ratio of exactly the limit passes


@dataclass(frozen=True)
class Plateau:
    """Means over the last minutes of a bout in mL/min, or the reason why there are none.

    change_fraction: largest change of oxygen uptake from one minute to the next over the mean of all.
    left_out_fraction: part of the samples that counted as no breaths. times_s, gases, seconds: (n,), (n, 2) and (n,) of
    those that count, the middle of each, both gases in mL/min and how much of it lies in the plateau.
    """

    oxygen: float | None = None
    carbon_dioxide: float | None = None
    change_fraction: float | None = None
    reason: str | None = None
    left_out_fraction: float | None = None
    times_s: FloatArray = field(default_factory=lambda: np.empty(0))
    gases: FloatArray = field(default_factory=lambda: np.empty((0, 2)))
    seconds: FloatArray = field(default_factory=lambda: np.empty(0))

    @property
    def ratio(self) -> float | None:
        """Respiratory exchange ratio; null without means."""
        return self.carbon_dioxide / self.oxygen if self.oxygen and self.carbon_dioxide else None


def compute_energy(breaths: pd.DataFrame, sessions: pd.DataFrame, processing: Processing) -> pd.DataFrame:
    """One row per session, condition and bout of ``breaths``, in that order: ``energy_bouts`` less provenance.

    breaths: rows of ``sent_breaths``, in any order. sessions: session_id, mass_kg and set_speed_m_per_s, one row each;
    its speed is that of bouts whose rows tell none.
    What cannot be computed is null with the reason beside it; bad samples raise nothing.
    """
    about: dict[Any, Mapping[Any, Any]] = {row["session_id"]: row for row in sessions.to_dict("records")}
    rows: list[dict[str, Any]] = []
    for key, samples in breaths.dropna(subset="elapsed_s").groupby(["session_id", "condition", "bout"], sort=True):
        session = about.get(key[0], {})
        rows.append(
            dict(zip(("session_id", "condition", "bout"), key, strict=True))
            | _bout(samples, _positive(session, "mass_kg"), speed_of_bout(samples, session), processing.energy)
        )
    return frame_of(ENERGY_BOUTS, rows)


def speed_of_bout(samples: pd.DataFrame, session: Mapping[Any, Any]) -> float | None:
    """Set speed in m/s: what the bout's rows tell, or else its session's; None if they tell several, or nobody does."""
    told = samples[_SPEED].dropna().unique().tolist() if _SPEED in samples else []
    if not told:
        return _positive(session, _SPEED)
    return _positive({_SPEED: told[0]}, _SPEED) if len(told) == 1 else None


def find_plateau(
    elapsed_s: FloatArray, oxygen: FloatArray, carbon_dioxide: FloatArray, settings: EnergyProcessing
) -> Plateau:
    """The plateau at the end of one bout.

    elapsed_s: (n,) s, end of each sample, in any order. oxygen, carbon_dioxide: (n,) mL/min, NaN where not measured.
    """
    order = np.argsort(elapsed_s, kind="stable")
    end_s = np.asarray(elapsed_s, float)[order]
    gases = np.stack([np.asarray(oxygen, float), np.asarray(carbon_dioxide, float)], axis=1)[order]
    length = 60.0 * settings.plateau_minutes
    needed = settings.warm_up_s + length
    if len(end_s) < 2 or end_s[-1] < needed:
        lasted = end_s[-1] if len(end_s) else 0.0
        return Plateau(reason=f"too short: it lasts {lasted:.0f} s, warm-up and plateau take {needed:.0f} s")
    start_s = _starts(end_s)
    edges = end_s[-1] - length + 60.0 * np.arange(settings.plateau_minutes + 1)
    known, measured = usable(gases, settings.local_samples, settings.largest_breath_sd), np.isfinite(gases).all(axis=1)
    # (samples, minutes) s of each sample in each minute
    shares = np.clip(np.minimum(end_s[:, None], edges[1:]) - np.maximum(start_s[:, None], edges[:-1]), 0, None)
    shares[~measured] = 0
    inside = shares.sum(axis=1) > 0
    left_out = float(np.mean(~known[inside])) if inside.any() else 0.0
    covered = shares.sum(axis=0) / 60.0
    if covered.min() < settings.lowest_covered_fraction - _ROUNDING:
        worst = int(covered.argmin()) + 1
        told = f"samples cover only {100 * covered.min():.0f} % of minute {worst} of the plateau"
        return Plateau(reason=told, left_out_fraction=left_out)
    if left_out > settings.largest_left_out_fraction + _ROUNDING or not shares[known].sum(axis=0).all():
        return Plateau(reason=_too_many(left_out, gases[inside], settings), left_out_fraction=left_out)
    shares[~known] = 0
    minutes = (shares.T @ np.where(known[:, None], gases, 0.0)) / shares.sum(axis=0)[:, None]  # (minutes, 2)
    means = (shares.sum(axis=1) @ np.where(known[:, None], gases, 0.0)) / shares.sum()
    change = float(np.abs(np.diff(minutes[:, 0])).max() / means[0])
    used = shares.sum(axis=1) > 0
    middles, seconds = (start_s[used] + end_s[used]) / 2, shares[used].sum(axis=1)
    return Plateau(float(means[0]), float(means[1]), change, None, left_out, middles, gases[used], seconds)


def _too_many(left_out: float, gases: FloatArray, settings: EnergyProcessing) -> str:
    why = "they are far from those around them"
    for name, column in (("oxygen uptake", 0), ("carbon dioxide output", 1)):
        if len(gases) and (lowest := gases[:, column].min()) <= 0:
            why = f"one has an impossible {name} of {lowest:.0f} mL/min"
    limit = 100 * settings.largest_left_out_fraction
    return f"{100 * left_out:.0f} % of the plateau's samples count as no breaths, limit {limit:g} %: {why}"


def refusal(plateau: Plateau, settings: EnergyProcessing) -> str | None:
    """Why a plateau gives no power; None if it does."""
    ratio, change = plateau.ratio, plateau.change_fraction
    if ratio is None or change is None:
        return plateau.reason
    if ratio > settings.highest_respiratory_exchange_ratio + _ROUNDING:
        limit = settings.highest_respiratory_exchange_ratio
        return f"respiratory exchange ratio {ratio:.3f} is above {limit:g}: part of the power is not from oxygen"
    if ratio < settings.lowest_respiratory_exchange_ratio - _ROUNDING:
        limit = settings.lowest_respiratory_exchange_ratio
        return f"respiratory exchange ratio {ratio:.3f} is below {limit:g}, less than any fuel gives"
    if change > settings.plateau_change_limit_fraction + _ROUNDING:
        limit = settings.plateau_change_limit_fraction
        return f"not steady: oxygen uptake changes by {100 * change:.1f} % between minutes, limit {100 * limit:g} %"
    return None


def _bout(
    samples: pd.DataFrame, mass_kg: float | None, speed_m_per_s: float | None, settings: EnergyProcessing
) -> dict[str, Any]:
    plateau = find_plateau(
        samples["elapsed_s"].to_numpy(float),
        samples["oxygen_uptake_ml_per_min"].to_numpy(float),
        samples["carbon_dioxide_output_ml_per_min"].to_numpy(float),
        settings,
    )
    change = plateau.change_fraction
    row: dict[str, Any] = {
        _SPEED: speed_m_per_s,
        "oxygen_uptake_ml_per_min": plateau.oxygen,
        "carbon_dioxide_output_ml_per_min": plateau.carbon_dioxide,
        "plateau_change_percent": None if change is None else 100 * change,
        "samples_left_out_fraction": plateau.left_out_fraction,
        **_drift(plateau),
        "respiratory_exchange_ratio": plateau.ratio,
        "metabolic_power_w_per_kg": None,
        "metabolic_power_uncertainty_w_per_kg": None,
        "energy_cost_j_per_kg_m": None,
        "oxygen_cost_ml_per_kg_km": None,
        "equation": settings.equation,
        "reason_null": refusal(plateau, settings),
    }
    if row["reason_null"] is not None or plateau.oxygen is None or plateau.carbon_dioxide is None:
        return row
    if mass_kg is None:
        return row | {"reason_null": "no body mass for the session"}
    power = metabolic_power_w(plateau.oxygen, plateau.carbon_dioxide, settings.equation) / mass_kg
    row["metabolic_power_w_per_kg"] = power
    of_each = [metabolic_power_w(a, b, settings.equation) / mass_kg for a, b in plateau.gases.tolist()]
    row["metabolic_power_uncertainty_w_per_kg"] = mean_uncertainty(np.array(of_each), plateau.seconds)
    if speed_m_per_s is None:
        return row | {"reason_null": "no speed, or several, for the bout: power is known, cost per distance is not"}
    row["energy_cost_j_per_kg_m"] = power / speed_m_per_s
    row["oxygen_cost_ml_per_kg_km"] = plateau.oxygen / 60 / mass_kg / speed_m_per_s * 1000
    return row


def _drift(plateau: Plateau) -> dict[str, float | None]:
    """Slope of oxygen uptake over the plateau and its uncertainty, in % of the mean per minute."""
    slope, off = drift(plateau.times_s, plateau.gases[:, 0], plateau.seconds)
    per_minute = 6000 / plateau.oxygen if plateau.oxygen else math.nan
    return {
        "oxygen_drift_percent_per_min": slope * per_minute,
        "oxygen_drift_uncertainty_percent_per_min": off * per_minute,
    }


def _starts(end_s: FloatArray) -> FloatArray:
    """Start of each sample: the end of the one before, but not too long ago; the first starts one median earlier."""
    between = np.diff(end_s)
    positive = between[between > 0]
    typical = float(np.median(positive)) if len(positive) else 0.0
    before = np.concatenate([[max(end_s[0] - typical, 0.0)], end_s[:-1]])
    start: FloatArray = np.maximum(before, end_s - _LONGEST_IN_MEDIANS * typical)
    return start


def _positive(row: Mapping[Any, Any], name: str) -> float | None:
    value = row.get(name)
    return float(value) if isinstance(value, int | float) and math.isfinite(value) and value > 0 else None
