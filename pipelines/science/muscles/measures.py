"""What checks of muscles share: signals in microvolts, how strong they are when, contacts.

Pure functions on arrays and trials; registers no check. Nothing here judges: limits are in the checks. Signals that the
outcomes refuse already (``muscle_signals.signal_problem``) are left out, so that no channel is told of twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from schemas.reading import ChannelFacts
from schemas.study import Study
from schemas.trial import FloatArray, Signal, Trial

if TYPE_CHECKING:
    import pandas as pd

#: UCUM codes of voltages, in microvolts (UCUM prefixes n, u, m, k).
MICROVOLTS = {"nV": 1e-3, "uV": 1.0, "mV": 1e3, "V": 1e6, "kV": 1e9}
#: Own choice: long enough for some tens of independent values of a muscle signal, a fifth of a contact in running.
LEVEL_WINDOW_S = 0.05
#: Own choice: shorter signals are not judged; a running stride takes about 0.7 s.
SHORTEST_S = 0.5
#: Own choice: parts of the windows that count as burst and as quiet.
BURST_PERCENT, QUIET_PERCENT = 95, 10
Form = Literal["raw", "rectified", "smoothed"]
Outcomes = Mapping[str, "pd.DataFrame"] | None


@dataclass(frozen=True)
class Muscle:
    """One muscle signal. raw: (n,) uV at the skin, offset and all, NaN where missing. band: its two edges, Hz."""

    signal: Signal
    raw: FloatArray
    band: tuple[float, float]

    @property
    def name(self) -> str:
        """``soleus left (channel 'EMG 2')``."""
        return f"{self.signal.muscle} {self.signal.side} (channel {self.signal.label!r})"

    @property
    def place(self) -> str:
        """``soleus left``."""
        return f"{self.signal.muscle} {self.signal.side}"

    @property
    def rate_hz(self) -> float:
        """Samples per second of the trial's clock."""
        return self.signal.rate_hz

    @cached_property
    def banded(self) -> FloatArray:
        """(n,) uV within the study's band, NaN where missing."""
        return within(self.raw, self.rate_hz, *self.band)

    @cached_property
    def levels_uv(self) -> FloatArray:
        """(w,) root mean square in uV of the band in windows of 50 ms that start every 25 ms; NaN with a gap."""
        return levels(self.banded, self.rate_hz)

    @cached_property
    def step_uv(self) -> float:
        """Smallest difference between two values in uV, the converter's step; 0 for a signal that stands still."""
        values = np.unique(self.raw[np.isfinite(self.raw)])
        gaps = np.diff(values)
        real = gaps[gaps > 1e-9 * np.abs(values[[0, -1]]).max()] if len(gaps) else gaps
        return float(real.min()) if len(real) else 0.0

    @property
    def burst_uv(self) -> float:
        """Root mean square of the strongest twentieth of the windows begins here."""
        return _percentile(self.levels_uv, BURST_PERCENT)

    @property
    def quiet_uv(self) -> float:
        """Root mean square of the quietest tenth of the windows ends here."""
        return _percentile(self.levels_uv, QUIET_PERCENT)

    @property
    def ratio(self) -> float:
        """How many times stronger bursts are than quiet moments; infinite where these show nothing at all."""
        return self.burst_uv / self.quiet_uv if self.quiet_uv > 0 else float("inf")

    @property
    def has_bursts(self) -> bool:
        """Whether the signal rises and falls more than noise does.

        Noise of a muscle's bandwidth varies between these percentiles of 50 ms windows by a factor of about 1.7
        (measured on simulated noise), so 2.5 is no chance.
        """
        return self.ratio > 2.5

    def moment_s(self, trial: Trial, *, loudest: bool = True) -> float:
        """Middle of the loudest or quietest window within the trial, s on its clock: what is worth drawing."""
        hop = max(round(LEVEL_WINDOW_S * self.rate_hz) // 2, 1)
        times = self.signal.start_s + np.arange(len(self.levels_uv)) * hop / self.rate_hz + LEVEL_WINDOW_S / 2
        inside = np.isfinite(self.levels_uv) & (times >= 0) & (times <= trial.duration_s)
        if not inside.any():
            return 0.0
        order = np.where(inside, self.levels_uv, -np.inf if loudest else np.inf)
        return float(times[np.argmax(order) if loudest else np.argmin(order)])

    def level_in(self, start_s: float, end_s: float) -> float | None:
        """Root mean square in uV of the band between two times; None unless all of it was recorded."""
        first, stop = (int(np.ceil((at - self.signal.start_s) * self.rate_hz - 1e-6)) for at in (start_s, end_s))
        if not 0 <= first < stop <= len(self.banded):
            return None
        part = self.banded[first:stop]
        return float(np.sqrt(np.mean(part**2))) if np.isfinite(part).all() else None

    @cached_property
    def form(self) -> Form:
        """Whether it is a muscle's raw signal, its size only, or its size smoothed.

        A raw signal swings as far down as up about its middle; of one whose sign was taken off hardly anything lies
        below. Smoothing leaves next to nothing above 30 Hz, where a raw signal has most of its power. A signal of a few
        steps of the converter is lopsided by chance and counts as raw.
        """
        low, middle, high = np.nanpercentile(self.raw, [2, 50, 98])
        down, up = middle - low, high - middle
        if not max(up, down) > 4 * min(up, down) or up + down < 20 * self.step_uv:
            return "raw"
        steady = self.raw - np.nanmean(self.raw)
        share = np.nanmean(within(steady, self.rate_hz, 30.0, self.rate_hz / 2) ** 2) / np.nanmean(steady**2)
        return "rectified" if share > 0.05 else "smoothed"


def muscles_of(trial: Trial, study: Study, outcomes: Outcomes, *, raw_only: bool = True) -> list[Muscle]:
    """The muscle signals of a trial that can be judged; with ``raw_only`` none that was rectified or smoothed.

    Without it also those that the outcomes refuse as stuck: a rectified signal at rest is stuck at zero.
    """
    refused = {key for key, why in refusals(outcomes).items() if raw_only or why != "saturated"}
    settings = study.processing.muscle
    found = []
    for signal in trial.signals:
        if signal.role != "muscle" or signal.muscle is None or signal.side is None:
            continue
        factor = MICROVOLTS.get(signal.unit)
        gain = _decibels(signal.amplifier_gain)
        if factor is None or gain is None or (signal.muscle, signal.side) in refused:
            continue
        raw = np.where(np.isfinite(signal.samples), signal.samples, np.nan).astype(float) * factor / gain
        if not signal.rate_hz > 0 or np.isfinite(raw).sum() < SHORTEST_S * signal.rate_hz:
            continue
        upper = min(settings.band_high_hz, 0.48 * signal.rate_hz)
        muscle = Muscle(signal, raw, (settings.band_low_hz, upper))
        if upper > settings.band_low_hz and muscle.burst_uv > 0 and not (raw_only and muscle.form != "raw"):
            found.append(muscle)
    return found


def fault_of(
    muscle: Muscle, trial: Trial, channels: ChannelFacts | None, moment_s: float | None = None, **values: Any
) -> dict[str, Any]:
    """A fault of one muscle: name, place, file, and the channel drawn at ``moment_s`` (else where it is loudest)."""
    at = muscle.moment_s(trial) if moment_s is None else moment_s
    return {
        "muscle": muscle.name,
        "place": muscle.place,
        "file": file_of(muscle.signal, trial, channels),
        "signal": f"channel:{muscle.signal.label}",
        "moment_s": min(max(at, 0.0), trial.duration_s),
        **values,
    }


def file_of(signal: Signal, trial: Trial, channels: ChannelFacts | None) -> str:
    """The file a signal comes from: the trial's own, or the second one."""
    return (channels and channels.second_file) or trial.file if signal.source == "sidecar" else trial.file


def refusals(outcomes: Outcomes) -> dict[tuple[str, str], str]:
    """Muscle and side -> why the outcomes refuse its signal, where they do."""
    rows = (outcomes or {}).get("muscle_signals")
    if rows is None or not len(rows):
        return {}
    broken = rows[rows["signal_problem"].notna()]
    return {(row["muscle"], row["side"]): row["signal_problem"] for row in broken.to_dict("records")}


def without_muscles(trial: Trial) -> str:
    """Why there was no muscle to look at."""
    if any(signal.role == "muscle" for signal in trial.signals):
        return "no muscle signal is fit to be judged; muscle_signals_can_be_used says why"
    return "no muscle was recorded"


def _decibels(gain: str | None) -> float | None:
    """What the samples must still be divided by: plain numbers were taken off when the file was read."""
    text = (gain or "").strip().lower()
    try:
        value = float(text.removesuffix("db") or 1)
    except ValueError:
        return None
    if text.endswith("db"):
        return float(10 ** (value / 20)) if np.isfinite(value) else None
    return 1.0 if np.isfinite(value) and value > 0 else None


def within(samples: FloatArray, rate_hz: float, low_hz: float, high_hz: float) -> FloatArray:
    """The part of (n,) samples between two frequencies in Hz, by Fourier transform; NaN stays NaN, gaps count as 0."""
    known = np.isfinite(samples)
    if not known.any():
        return np.full(len(samples), np.nan)
    middle = samples[known].mean()
    spectrum = np.fft.rfft(np.where(known, samples - middle, 0.0))
    f = np.fft.rfftfreq(len(samples), 1 / rate_hz)
    spectrum[(f < low_hz) | (f > high_hz)] = 0.0
    return np.where(known, np.fft.irfft(spectrum, len(samples)), np.nan)


def levels(samples: FloatArray, rate_hz: float) -> FloatArray:
    """(w,) root mean square of (n,) samples in windows of 50 ms that start every 25 ms; NaN where one has a gap."""
    length = max(round(LEVEL_WINDOW_S * rate_hz), 1)
    if len(samples) < length:
        return np.empty(0)
    windows = sliding_window_view(samples, length)[:: max(length // 2, 1)]
    return np.asarray(np.sqrt(np.mean(windows**2, axis=1)))


def _percentile(values: FloatArray, percent: float) -> float:
    known = values[np.isfinite(values)]
    return float(np.percentile(known, percent)) if len(known) else 0.0


def power_density(samples: FloatArray, rate_hz: float, low_hz: float, high_hz: float) -> float:
    """Mean power per Hz of (n,) samples between two frequencies, in their unit squared; 0 where nothing is known."""
    part = within(samples, rate_hz, low_hz, high_hz)
    return float(np.nanmean(part**2)) / (high_hz - low_hz) if np.isfinite(part).any() else 0.0


def contacts_by_side(footfalls: pd.DataFrame | None) -> dict[str, list[tuple[float, float]]]:
    """Side -> (contact, toe-off) in s of each complete footfall, in order of time."""
    found: dict[str, list[tuple[float, float]]] = {"left": [], "right": []}
    if footfalls is not None and len(footfalls):
        whole = footfalls.dropna(subset=["side", "contact_s", "toe_off_s"]).sort_values("contact_s")
        for side, start, end in whole[["side", "contact_s", "toe_off_s"]].itertuples(index=False):
            found.setdefault(side, []).append((float(start), float(end)))
    return found
