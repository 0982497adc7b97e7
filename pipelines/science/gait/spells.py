"""What the checks of force signals share: when a plate is loaded and when it rests, and where the foot on it is.

Pure functions on plates and trials; registers no check.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pipelines.science.signals import measures as signals
from schemas.mechanics import runs
from schemas.processing import Processing
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Plate, Trial

#: Own choice: a shorter push on a plate is no footfall; sprinters' contacts last 0.1 s.
SHORTEST_S = 0.08
FLAT = [FORWARD, RIGHT]

Spell = tuple[int, int]


def rate_of(trial: Trial) -> float:
    """Force samples per second; 1 where it is not known."""
    return trial.analog_rate_hz or 1.0


def contact_spells(plate: Plate, rate_hz: float, loaded_n: float) -> list[Spell]:
    """Stretches of at least ``SHORTEST_S`` in which the plate carries more than ``loaded_n`` N, as sample ranges.

    The sign of the vertical force is another check's business, so it is the larger side that counts as load.
    """
    force = signals.vertical(plate)
    if not np.isfinite(force).any():
        return []
    if abs(np.nanmin(force)) > abs(np.nanmax(force)):
        force = -force
    return [(a, b) for a, b in runs(force > loaded_n) if b - a >= SHORTEST_S * rate_hz]


def resting_spells(plate: Plate, rate_hz: float, edge_s: float, shortest_s: float = 0.0) -> list[Spell]:
    """Stretches in which nobody is on the plate and every sample is known; ``edge_s`` is cut off both their ends."""
    force = signals.vertical(plate)
    spells = signals.unloaded_spells(force, rate_hz, edge_s)
    return [(a, b) for a, b in spells if b - a >= max(8, shortest_s * rate_hz) and np.isfinite(force[a:b]).all()]


def without_trend(samples: FloatArray, degree: int = 2) -> FloatArray:
    """Samples (n,) or (n, k) less the polynomial that fits each column best: noise or vibration, not slow recovery."""
    basis = _polynomials(len(samples), degree)
    return np.asarray(samples - basis @ (basis.T @ samples))


@lru_cache(maxsize=256)
def _polynomials(count: int, degree: int) -> FloatArray:
    """(count, degree + 1) columns at right angles that span the polynomials over ``count`` even steps."""
    powers = np.vander(np.linspace(-1, 1, count), degree + 1)
    return np.asarray(np.linalg.qr(powers)[0], float)


def plate_place(plate: Plate, direction: str = "vertical") -> dict[str, str]:
    """Place and signal of a fault on one plate."""
    return {"place": f"plate {plate.number}", "signal": f"force:{plate.number}:{direction}"}


@dataclass(frozen=True)
class Foot:
    """One foot at n moments. heel, toe: (n, 2) m, forward and right. lowest: (n,) m, height of the lower marker."""

    heel: FloatArray
    toe: FloatArray
    lowest: FloatArray

    @property
    def axis(self) -> FloatArray:
        """(n, 2) unit vector from heel to toe; NaN where they lie above each other."""
        along = self.toe - self.heel
        length = np.linalg.norm(along, axis=1, keepdims=True)
        unit: FloatArray = np.divide(along, length, out=np.full_like(along, np.nan), where=length > 0)
        return unit


def foot_at(trial: Trial, processing: Processing, side: str, times: FloatArray) -> Foot | None:
    """The foot's heel and toe marker at ``times`` (s); NaN where they are hidden; None without both markers."""
    paths = [trial.markers.get(f"{role}_{side}") for role in (processing.heel_role, processing.toe_role)]
    heel, toe = (None if path is None else path_at(path, trial.marker_rate_hz, times) for path in paths)
    if heel is None or toe is None:
        return None
    return Foot(heel[:, FLAT], toe[:, FLAT], np.minimum(heel[:, UP], toe[:, UP]))


def lower_foot(trial: Trial, processing: Processing, times: FloatArray) -> Foot | None:
    """At each moment the foot that is nearer the ground, which is the one that carries; None without markers.

    It is told by height alone, so that it does not depend on the force it is compared with.
    """
    feet = [foot for side in signals.SIDES if (foot := foot_at(trial, processing, side, times)) is not None]
    if len(feet) < 2:
        return None
    first, second = feet
    lower = (first.lowest <= second.lowest)[:, None]
    unknown = np.isnan(first.lowest) | np.isnan(second.lowest)
    heel, toe = (np.where(lower, getattr(first, name), getattr(second, name)) for name in ("heel", "toe"))
    heel[unknown], toe[unknown] = np.nan, np.nan
    return Foot(heel, toe, np.fmin(first.lowest, second.lowest))


def path_at(path: FloatArray, rate_hz: float, times: FloatArray) -> FloatArray:
    """(n, 3) m: marker positions at ``times``, linear between frames; NaN outside the record."""
    if not rate_hz > 0 or len(path) < 2:
        return np.full((len(times), 3), np.nan)
    clock = np.arange(len(path)) / rate_hz
    return np.stack([np.interp(times, clock, column, left=np.nan, right=np.nan) for column in path.T], axis=1)
