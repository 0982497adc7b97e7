"""What each force plate reads while nobody is on it, and the trial with small levels taken off.

Measured is the plate as it was recorded. Whether a reading is acceptable is for the checks; noise and vibration under
load are in ``readings``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.science.signals.measures import unloaded_spells, vertical
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Plate, Trial

#: Own choice: at both ends of a flight the foot still leaves the plate, or its landing is smeared; and of what is left
#: the middle half counts.
EDGE_S = 0.015
#: Own choices: a converter's step is smaller; and so many exact zeros are none that the noise happened to meet.
SMALLEST_DEAD_BAND_N, DEAD_SHARE = 5.0, 0.25
#: Own choice: of readings on a grid many are alike.
_ON_A_GRID = 0.5

Spell = tuple[int, int]


@dataclass(frozen=True)
class PlateReading:
    """One plate while nobody is on it.

    number: the plate's. samples: how many were looked at. force_n: (3,) N and moment_nm: (3,) N.m about the middle of
    the plate, medians. start_n, end_n: vertical level in the first and the last third of the flights. noise_n: (3,) N,
    standard deviation about each flight's own median. dead_band_n: smallest vertical force there is but zero, where
    forces below it were set to zero; else None. moment_s: middle of the flight that is furthest from zero. step_n: of
    the converter, largest of the three components, 0 where no step is seen.
    """

    number: int
    samples: int
    force_n: FloatArray
    moment_nm: FloatArray
    start_n: float
    end_n: float
    noise_n: FloatArray
    dead_band_n: float | None
    moment_s: float
    reach_m: float
    step_n: float = 0.0

    @property
    def largest_n(self) -> float:
        """The level as a force in N: the largest of its components, or what at the plate's corner makes its moment."""
        lever = float(np.abs(self.moment_nm).max()) / self.reach_m if self.reach_m > 0 else 0.0
        return max(float(np.abs(self.force_n).max()), lever)

    @property
    def drift_n(self) -> float:
        """Vertical level at the end less that at the start, N."""
        return self.end_n - self.start_n


def plate_readings(trial: Trial) -> tuple[PlateReading, ...]:
    """A reading of every plate of a running trial that is unloaded for long enough to tell; none of other trials."""
    rate = trial.analog_rate_hz
    if trial.kind != "running" or not rate:
        return ()
    return tuple(found for plate in trial.plates if (found := _reading(plate, rate)) is not None)


def without_levels(trial: Trial, readings: Sequence[PlateReading], most_n: float) -> Trial:
    """The trial with each plate's level taken off, where it is no larger than ``most_n``; others are as they were."""
    small = {reading.number: reading for reading in readings if 0 < reading.largest_n <= most_n}
    if not small:
        return trial
    plates = tuple(_less(plate, small[plate.number]) if plate.number in small else plate for plate in trial.plates)
    return replace(trial, plates=plates)


def _less(plate: Plate, reading: PlateReading) -> Plate:
    moment = reading.moment_nm + np.cross(plate.corners.mean(axis=0), reading.force_n)
    return replace(plate, force=plate.force - reading.force_n, moment=plate.moment - moment)


def _reading(plate: Plate, rate_hz: float) -> PlateReading | None:
    """None for a plate that is never unloaded, or whose force is not known then."""
    force = np.asarray(plate.force, float).reshape(-1, 3)
    centre = plate.corners.mean(axis=0)
    spells = [middle for a, b in unloaded_spells(vertical(plate), rate_hz, EDGE_S) if (middle := _middle(a, b))]
    spells = [(a, b) for a, b in spells if np.isfinite(force[a:b]).all()]
    if not spells:
        return None
    levels = np.array([np.median(force[a:b], axis=0) for a, b in spells])
    rest = np.concatenate([force[a:b] for a, b in spells])
    moments = np.concatenate([plate.moment[a:b] for a, b in spells]) - np.cross(centre, rest)
    third = max(1, len(levels) // 3)  # several flights together, so that one shaken flight is not a drift
    start, end = (float(np.median(part[:, UP])) for part in (levels[:third], levels[-third:]))
    a, b = spells[-1] if abs(end) >= abs(start) else spells[0]
    known = np.isfinite(moments).all() and np.isfinite(centre).all()
    spread = np.concatenate([force[i:j] - level for (i, j), level in zip(spells, levels, strict=True)])
    return PlateReading(
        plate.number,
        len(rest),
        np.median(rest, axis=0),
        np.median(moments, axis=0) if known else np.zeros(3),
        start,
        end,
        np.sqrt(np.mean(spread**2, axis=0)),
        _dead_band(force[:, UP], rest[:, UP]),
        (a + b) / 2 / rate_hz,
        _reach(plate) if known else 0.0,
        max(_step(component) for component in rest.T),
    )


def _middle(start: int, stop: int) -> Spell | None:
    """The middle half of a stretch; None if less than four samples are left."""
    cut = (stop - start) // 4
    return (start + cut, stop - cut) if stop - start - 2 * cut >= 4 else None


def _reach(plate: Plate) -> float:
    """Distance in m from the middle of the plate to its furthest corner, as seen from above."""
    flat = plate.corners[:, [FORWARD, RIGHT]]
    return float(np.linalg.norm(flat - flat.mean(axis=0), axis=1).max())


def _step(values: FloatArray) -> float:
    """Smallest difference of two readings, 0 where readings are not on a grid: where few of them are the same."""
    levels = np.unique(np.round(values, 6))
    return float(np.diff(levels).min()) if 1 < len(levels) < _ON_A_GRID * len(values) else 0.0


def _dead_band(force: FloatArray, rest: FloatArray) -> float | None:
    """Smallest vertical force but zero in N, if small forces were set to zero; None if they were not."""
    if np.mean(rest == 0) < DEAD_SHARE:
        return None
    sizes = np.abs(force[np.isfinite(force) & (force != 0)])
    smallest = float(sizes.min()) if len(sizes) else 0.0
    return smallest if smallest >= SMALLEST_DEAD_BAND_N else None
