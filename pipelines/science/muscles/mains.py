"""How much of a muscle's signal is mains hum. Registers no check."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipelines.science.muscles.measures import LEVEL_WINDOW_S, Muscle
from schemas.trial import FloatArray

#: Mains frequencies in Hz (IEC 60038), how far they wander, and how many harmonics are looked at (own choices).
MAINS_HZ, MAINS_WANDERS_HZ, MAINS_STEP_HZ, MAINS_HARMONICS = (50.0, 60.0), 0.3, 0.1, 4
#: Own choice: a line told to 0.1 Hz keeps step with the mains for this long.
MAINS_STRETCH_S = 5.0


@dataclass(frozen=True)
class Hum:
    """Mains in a signal. size_uv: root mean square. share: its part of the power while the muscle is quiet."""

    mains_hz: float
    size_uv: float
    share: float
    wave_uv: FloatArray  # (n,) the hum itself


def hum_of(muscle: Muscle, known_hz: float | None) -> Hum:
    """The mains frequency, with harmonics, that explains most of the muscle's quiet half. known_hz: notched already."""
    quiet = _quiet_samples(muscle)
    quiet = quiet[quiet < MAINS_STRETCH_S * muscle.rate_hz]
    count = len(muscle.banded)
    best = Hum(MAINS_HZ[0], 0.0, 0.0, np.zeros(count))
    lines: FloatArray = np.empty(0)
    factors: FloatArray = np.empty(0)
    y = muscle.banded[quiet]
    if len(y) < 0.1 * muscle.rate_hz or not np.any(y):
        return best
    stretch = min(count, int(np.ceil(MAINS_STRETCH_S * muscle.rate_hz)))
    for mains, f, every in _mains_waves(stretch, muscle.rate_hz):
        harmonics = np.arange(2 if mains == known_hz else 1, MAINS_HARMONICS + 1)
        harmonics = harmonics[f * harmonics < muscle.band[1]]
        if not len(harmonics):
            continue
        waves = every[quiet][:, np.concatenate([harmonics - 1, MAINS_HARMONICS + harmonics - 1])]
        onto = waves.T @ y
        gram = waves.T @ waves + 1e-9 * len(y) * np.eye(waves.shape[1])  # never singular
        found = np.linalg.solve(gram, onto)
        share = float(found @ onto) / float(y @ y)  # by least squares the error is at right angles
        if share > best.share:
            best, factors = replace(best, mains_hz=mains, share=share), np.asarray(found, float)
            lines = np.asarray(f * harmonics, np.float64)
    wave = _waves(np.arange(count) / muscle.rate_hz, lines) @ factors if len(lines) else best.wave_uv
    return replace(best, size_uv=float(np.sqrt(np.mean(wave**2))), wave_uv=wave)


@lru_cache(maxsize=4)  # the muscles of one trial have the same rate
def _mains_waves(count: int, rate_hz: float) -> list[tuple[float, float, FloatArray]]:
    """Mains, each frequency near it that is tried, and the waves (count, 2 k) of it and its harmonics."""
    t, multiples = np.arange(count) / rate_hz, np.arange(1, MAINS_HARMONICS + 1, dtype=float)
    return [
        (mains, float(f), _waves(t, float(f) * multiples))
        for mains in MAINS_HZ
        for f in np.arange(mains - MAINS_WANDERS_HZ, mains + MAINS_WANDERS_HZ + 1e-9, MAINS_STEP_HZ)
    ]


def _waves(t: FloatArray, lines: FloatArray) -> FloatArray:
    """(n, 2 k): cosine and sine of each of k frequencies at times t (n,)."""
    turns = 2 * np.pi * np.outer(t, lines)
    return np.hstack([np.cos(turns), np.sin(turns)])


def _quiet_samples(muscle: Muscle) -> NDArray[np.intp]:
    """Indices of samples in windows no louder than the median one, gaps left out."""
    length = max(round(LEVEL_WINDOW_S * muscle.rate_hz), 1)
    loud = muscle.levels_uv > np.nanmedian(muscle.levels_uv)
    mask = np.isfinite(muscle.banded)
    for window in np.flatnonzero(loud):
        start = window * max(length // 2, 1)
        mask[start : start + length] = False
    return np.flatnonzero(mask)
