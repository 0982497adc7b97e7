"""The metabolic bouts of a delivery. Arrays in, arrays out; registers no check.

Limits and messages are in ``breathing_gas`` and ``breath_samples``; what running costs is computed in outcomes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from checks.delivery.bag import known
from pipelines.science.energy.bouts import speed_of_bout
from schemas.delivery import SENT_SESSIONS
from schemas.processing import EnergyProcessing
from schemas.received import Received
from schemas.told_later import as_told_later
from schemas.trial import FloatArray

NO_BOUTS = "no metabolic bout whose runner agreed to its use"
OXYGEN, CARBON_DIOXIDE = "oxygen_uptake_ml_per_min", "carbon_dioxide_output_ml_per_min"
BREATHS_FILE = "breaths.csv"


def place_of(session_id: str, condition: str, number: int) -> str:
    """Where a bout is, as findings name it; by this a bout that goes back is known."""
    return f"session_id {session_id}, condition {condition}, bout {number}"


@dataclass(frozen=True)
class Bout:
    """One bout. end_s: (n,) s, end of each sample in the order of the file; gases in mL/min, heart rate in /min.

    Cells that are not known are NaN; mass and speed are None where the session does not tell them.
    """

    session_id: str
    condition: str
    number: int
    end_s: FloatArray
    oxygen: FloatArray
    carbon_dioxide: FloatArray
    heart_rate: FloatArray
    mass_kg: float | None
    speed_m_per_s: float | None

    @property
    def at(self) -> dict[str, Any]:
        """Where the bout is, for a fault. Its session is not a key: no trial goes back for breathing gas."""
        place = place_of(self.session_id, self.condition, self.number)
        return {"bout": self.name, "file": BREATHS_FILE, "place": place}

    @property
    def name(self) -> str:
        """As it is called within a sentence."""
        return f"bout {self.number} of session {self.session_id} in '{self.condition}'"

    def is_long_enough(self, settings: EnergyProcessing) -> bool:
        """Whether warm-up and plateau fit in."""
        return bool(len(self.end_s)) and float(np.max(self.end_s)) >= needed_s(settings)

    def in_plateau(self, settings: EnergyProcessing) -> np.ndarray:
        """(n,) which samples end in the last whole minutes; in a bout that is too short, in its second half."""
        last = float(np.max(self.end_s)) if len(self.end_s) else 0.0
        length = 60.0 * settings.plateau_minutes
        return self.end_s > last - (length if self.is_long_enough(settings) else last / 2)

    def mean(self, samples: FloatArray, chosen: np.ndarray) -> float:
        """Mean of the ``chosen`` samples, each by the time since the one before; NaN without one that is known."""
        order = np.argsort(self.end_s, kind="stable")
        lasted = np.empty(len(order))
        lasted[order] = np.diff(self.end_s[order], prepend=0.0)
        typical = float(np.median(lasted)) if len(lasted) else 0.0
        weights = np.where(chosen & np.isfinite(samples), np.clip(lasted, 0.0, 3 * typical), 0.0)
        return float(weights @ np.nan_to_num(samples) / weights.sum()) if weights.sum() > 0 else math.nan

    def minutes(self, settings: EnergyProcessing) -> FloatArray:
        """Mean oxygen uptake in each whole minute of the plateau, mL/min; NaN where no sample ends."""
        last = float(np.max(self.end_s))
        edges = last - 60.0 * np.arange(settings.plateau_minutes, -1, -1)
        chosen = [(self.end_s > a) & (self.end_s <= b) for a, b in pairwise(edges)]
        return np.array([self.mean(self.oxygen, own) for own in chosen])


def needed_s(settings: EnergyProcessing) -> float:
    """How long a bout must last for a plateau, s."""
    return settings.warm_up_s + 60.0 * settings.plateau_minutes


def bouts_of(delivery: Received) -> list[Bout]:
    """Every bout with a whole key, of sessions that stand once: of one that stands twice nobody knows the mass."""
    breaths, sessions = delivery.tables.get("sent_breaths"), delivery.tables.get("sent_sessions")
    if breaths is None or sessions is None or not len(breaths):
        return []
    sessions = as_told_later(delivery, SENT_SESSIONS, sessions)
    once = sessions.dropna(subset=["session_id"]).drop_duplicates("session_id", keep=False)
    about = {row["session_id"]: row for row in once.to_dict("records")}
    whole = breaths[breaths["session_id"].isin(about)].dropna(subset=["condition", "bout", "elapsed_s"])
    groups = whole.groupby(["session_id", "condition", "bout"], sort=False)
    return [_bout(key, rows, about[key[0]]) for key, rows in groups]


def _bout(key: Any, rows: Any, session: Mapping[Any, Any]) -> Bout:
    columns = ("elapsed_s", OXYGEN, CARBON_DIOXIDE, "heart_rate_per_min")
    end_s, oxygen, carbon, heart = (rows[name].to_numpy(dtype=float, na_value=np.nan) for name in columns)
    mass = float(session["mass_kg"]) if known(session["mass_kg"]) else 0.0
    return Bout(
        str(key[0]),
        str(key[1]),
        int(key[2]),
        end_s,
        oxygen,
        carbon,
        heart,
        mass if mass > 0 else None,
        speed_of_bout(rows, session),
    )
