"""Muscle signals with known bursts for tests: band-limited Gaussian noise that is switched on and off at known times.

The noise is made by cutting a spectrum off, not with the filters that are tested.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from schemas.trial import Signal

STRIDE_S, CONTACT_S = 0.70, 0.25
#: From onset to contact, and from contact to offset, on average.
BEFORE_S, AFTER_S = 0.12, 0.18
FIRST_S = 0.6
NOISE_UV = 5.0


def band_noise(count: int, rate_hz: float, seed: int, low_hz: float = 20, high_hz: float = 400) -> np.ndarray:
    """Gaussian noise (count,) between two frequencies with nothing outside, of root mean square 1."""
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=count))
    frequencies = np.fft.rfftfreq(count, 1 / rate_hz)
    spectrum[(frequencies < low_hz) | (frequencies > high_hz)] = 0
    noise = np.fft.irfft(spectrum, count)
    return noise / noise.std()


def a_signal(samples: np.ndarray, rate_hz: float = 2000, **changes: Any) -> Signal:
    facts: dict[str, Any] = {"role": "muscle", "muscle": "soleus", "side": "left", "unit": "uV"}
    return Signal(**{**facts, "rate_hz": rate_hz, "samples": np.asarray(samples, float), **changes})


def some_footfalls(count: int, side: str = "left", first_s: float = FIRST_S) -> pd.DataFrame:
    """Rows with the columns that muscles need; the last contact of a side has no stride, as in the real table."""
    contact = first_s + STRIDE_S * np.arange(count)
    stride = np.where(np.arange(count) < count - 1, STRIDE_S, np.nan)
    return pd.DataFrame(
        {
            "trial_id": "T1",
            "footfall_number": pd.Series(np.arange(1, count + 1), dtype="Int64"),
            "side": side,
            "contact_s": contact,
            "toe_off_s": contact + CONTACT_S,
            "stride_time_s": stride,
        }
    )


@dataclass(frozen=True)
class Recording:
    """A recording whose bursts are known: signal in uV, its footfalls, onset and offset of each burst in s."""

    signal: Signal
    footfalls: pd.DataFrame
    onset_s: np.ndarray
    offset_s: np.ndarray
    active: np.ndarray  # (n,) bool


def a_recording(
    *, seed: int = 0, strides: int = 40, above_noise_db: float = 20, rate_hz: float = 2000, rise_s: float = 0.0
) -> Recording:
    """One burst per contact, its ends 10 ms (standard deviation) off their averages. rise_s: linear rise and fall."""
    rng = np.random.default_rng([seed, 1])
    footfalls = some_footfalls(strides)
    contact = footfalls["contact_s"].to_numpy()
    onset = contact - BEFORE_S + rng.normal(0, 0.01, strides)
    offset = contact + AFTER_S + rng.normal(0, 0.01, strides)
    count = round((FIRST_S + strides * STRIDE_S + 0.4) * rate_hz)
    times = np.arange(count) / rate_hz
    gate = np.zeros(count)
    for a, b in zip(onset, offset, strict=True):
        rise = np.minimum((times - a) / rise_s, (b - times) / rise_s) if rise_s else (times >= a) & (times < b)
        gate = np.maximum(gate, np.clip(rise, 0, 1))
    burst = 10 ** (above_noise_db / 20) * gate * band_noise(count, rate_hz, seed * 2 + 1)
    samples = NOISE_UV * (burst + band_noise(count, rate_hz, seed * 2))
    return Recording(a_signal(samples, rate_hz), footfalls, onset, offset, gate > 0)
