"""What checks of muscles share: how strong a conditioned signal is when, whether it is raw, its faults' places.

Nothing here judges: limits are in the checks. A muscle is judged by the very signal that outcomes are computed from
(``signal.Conditioned``); those that the outcomes refuse already are left out, so that no channel is told of twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from pipelines.science.frames import Rows
from pipelines.science.muscles.outcomes import Muscles
from pipelines.science.muscles.signal import Conditioned, filtered, is_muscle
from pipelines.science.signals.middle import percentiles
from schemas.processing_signals import MuscleProcessing
from schemas.reading import ChannelFacts
from schemas.trial import FloatArray, Signal, Trial

#: Own choice: long enough for some tens of independent values of a muscle signal, a fifth of a contact in running.
LEVEL_WINDOW_S = 0.05
#: Own choice: shorter signals are not judged; a running stride takes about 0.7 s.
SHORTEST_S = 0.5
#: Own choice: parts of the windows that count as burst and as quiet.
BURST_PERCENT, QUIET_PERCENT = 95, 10
Form = Literal["raw", "rectified", "smoothed"]


@dataclass(frozen=True)
class Muscle:
    """One muscle signal, conditioned as outcomes take it."""

    signal: Signal
    conditioned: Conditioned
    settings: MuscleProcessing

    @property
    def name(self) -> str:
        """``soleus left (channel 'EMG 2')``."""
        return f"{self.signal.muscle} {self.signal.side} (channel {self.signal.label!r})"

    @property
    def place(self) -> str:
        """``soleus left``."""
        return f"{self.signal.muscle} {self.signal.side}"

    @property
    def gain_known(self) -> bool:
        """Whether its values are those at the skin; if not, all are too large by one and the same unknown factor."""
        return self.conditioned.gain_known

    def told(self, size_uv: float) -> str:
        """A size in words: ``3.2 uV``, or that it is as the channel was recorded."""
        return f"{size_uv:.3g} uV" if self.gain_known else f"{size_uv:.3g} uV behind an amplifier of unknown gain"

    @property
    def rate_hz(self) -> float:
        """Samples per second of the trial's clock."""
        return self.signal.rate_hz

    @property
    def band(self) -> tuple[float, float]:
        """Edges in Hz of the band it is looked at in: the study's, as far as its rate allows."""
        return self.settings.band_low_hz, min(self.settings.band_high_hz, 0.48 * self.rate_hz)

    @property
    def raw(self) -> FloatArray:
        """(n,) uV at the skin, offset and all, NaN where missing."""
        return self.conditioned.raw

    @cached_property
    def banded(self) -> FloatArray:
        """(n,) uV as outcomes filter it, NaN where missing. A stretch that stands still is rest here, and not missing.

        A coarse converter stands still while the muscle rests; without its rest no burst would stand out.
        """
        own = self.conditioned
        if own.problem is None and own.missing_fraction == np.mean(~np.isfinite(own.raw)):
            return own.samples
        return filtered(own.raw, self.rate_hz, self.settings, self.band[1])

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

    @cached_property
    def _burst_and_quiet_uv(self) -> tuple[float, float]:
        known = self.levels_uv[np.isfinite(self.levels_uv)]
        if not len(known):
            return 0.0, 0.0
        burst, quiet = percentiles(known, BURST_PERCENT, QUIET_PERCENT)
        return burst, quiet

    @property
    def burst_uv(self) -> float:
        """Root mean square of the strongest twentieth of the windows begins here."""
        return self._burst_and_quiet_uv[0]

    @property
    def quiet_uv(self) -> float:
        """Root mean square of the quietest tenth of the windows ends here."""
        return self._burst_and_quiet_uv[1]

    @cached_property
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

    @cached_property
    def _is_whole(self) -> bool:
        return bool(np.isfinite(self.raw).all())

    @cached_property
    def _spectrum(self) -> tuple[FloatArray, NDArray[np.complex128]]:
        """Frequencies in Hz and Fourier transform of the raw signal about its mean; gaps count as 0."""
        known = np.isfinite(self.raw)
        mean = self.raw[known].mean() if known.any() else 0.0
        transform = np.fft.rfft(np.where(known, self.raw - mean, 0.0))
        f = np.asarray(np.fft.rfftfreq(len(self.raw), 1 / self.rate_hz), np.float64)
        return f, np.asarray(transform, np.complex128)

    def within(self, low_hz: float, high_hz: float) -> FloatArray:
        """(n,) uV: the part of the raw signal between two frequencies, by Fourier transform; NaN where missing.

        For looking at one band beside others; the study's own band is ``banded``.
        """
        f, transform = self._spectrum
        first, stop = np.searchsorted(f, low_hz, "left"), np.searchsorted(f, high_hz, "right")
        kept = np.zeros_like(transform)
        kept[first:stop] = transform[first:stop]
        part = np.fft.irfft(kept, len(self.raw))
        return part if self._is_whole else np.where(np.isfinite(self.raw), part, np.nan)

    def power_density(self, low_hz: float, high_hz: float) -> float:
        """Mean power per Hz between two frequencies, uV2/Hz; 0 where nothing is known."""
        part = self.within(low_hz, high_hz)
        return float(np.nanmean(part**2)) / (high_hz - low_hz) if np.isfinite(part).any() else 0.0

    def moment_s(self, trial: Trial, *, loudest: bool = True) -> float:
        """Middle of the loudest or quietest window within the trial, s on its clock: what is worth drawing."""
        hop = max(round(LEVEL_WINDOW_S * self.rate_hz) // 2, 1)
        times = self.signal.start_s + np.arange(len(self.levels_uv)) * hop / self.rate_hz + LEVEL_WINDOW_S / 2
        inside = np.isfinite(self.levels_uv) & (times >= 0) & (times <= trial.duration_s)
        if not inside.any():
            return 0.0
        order = np.where(inside, self.levels_uv, -np.inf if loudest else np.inf)
        return float(times[np.argmax(order) if loudest else np.argmin(order)])

    @cached_property
    def form(self) -> Form:
        """Whether it is a muscle's raw signal, its size only, or its size smoothed.

        A raw signal swings as far down as up about its middle; of one whose sign was taken off hardly anything lies
        below. Smoothing leaves next to nothing above 30 Hz, where a raw signal has most of its power. A signal of a few
        steps of the converter is lopsided by chance and counts as raw.
        """
        low, middle, high = percentiles(self.raw[~np.isnan(self.raw)], 2, 50, 98)
        down, up = middle - low, high - middle
        if not max(up, down) > 4 * min(up, down) or up + down < 20 * self.step_uv:
            return "raw"
        share = np.nanmean(self.within(30.0, self.rate_hz / 2) ** 2) / np.nanvar(self.raw)
        return "rectified" if share > 0.05 else "smoothed"


def judged_muscles(trial: Trial, muscles: Muscles) -> list[Muscle]:
    """The muscle signals of a trial that can be judged, in whatever form they came.

    Those that the outcomes of a running trial refuse are left out, but for stuck ones: a rectified signal at rest is
    stuck at zero.
    """
    found = []
    for signal in trial.signals:
        if not is_muscle(signal):
            continue
        own = muscles.conditioned[str(signal.muscle), str(signal.side)]
        if trial.kind == "running" and own.problem not in (None, "saturated"):
            continue
        if not signal.rate_hz > 0 or np.isfinite(own.raw).sum() < max(SHORTEST_S * signal.rate_hz, 1):
            continue
        muscle = Muscle(signal, own, muscles.processing)
        low, high = muscle.band
        if high > low and muscle.burst_uv > 0:
            found.append(muscle)
    return found


def raw_muscles(judged: list[Muscle]) -> list[Muscle]:
    """Those of them that are neither stuck nor rectified or smoothed."""
    return [m for m in judged if m.conditioned.problem != "saturated" and m.form == "raw"]


def fault_of(
    muscle: Muscle, trial: Trial, channels: ChannelFacts | None, moment_s: float | None = None, **values: Any
) -> dict[str, Any]:
    """A fault of one muscle: name, place, file, and the channel drawn at ``moment_s``, else where it is loudest.

    Where ``values`` tell what it shows, no channel is named to be drawn.
    """
    at = muscle.moment_s(trial) if moment_s is None else moment_s
    return {
        "muscle": muscle.name,
        "place": muscle.place,
        "file": file_of(muscle.signal, trial, channels),
        "signal": None if "shows" in values else f"channel:{muscle.signal.label}",
        "moment_s": min(max(at, 0.0), trial.duration_s),
        **values,
    }


def file_of(signal: Signal, trial: Trial, channels: ChannelFacts | None) -> str:
    """The file a signal comes from: the trial's own, or the second one."""
    return (channels and channels.second_file) or trial.file if signal.source == "sidecar" else trial.file


def without_muscles(trial: Trial) -> str:
    """Why there was no muscle to look at."""
    if any(signal.role == "muscle" for signal in trial.signals):
        return "no muscle signal is fit to be judged; muscle_signals_can_be_used says why"
    return "no muscle was recorded"


def levels(samples: FloatArray, rate_hz: float) -> FloatArray:
    """(w,) root mean square of (n,) samples in windows of 50 ms that start every 25 ms; NaN where one has a gap."""
    length = max(round(LEVEL_WINDOW_S * rate_hz), 1)
    if len(samples) < length:
        return np.empty(0)
    squares, hop = samples**2, max(length // 2, 1)
    if length == 2 * hop:  # each half is part of two windows
        halves = squares[: len(squares) // hop * hop].reshape(-1, hop).sum(axis=1)
        return np.asarray(np.sqrt((halves[1:] + halves[:-1]) / length))
    return np.asarray(np.sqrt(np.mean(sliding_window_view(squares, length)[::hop], axis=1)))


def contacts_by_side(footfalls: Rows) -> dict[str, list[tuple[float, float]]]:
    """Side -> (contact, toe-off) in s of each complete footfall, in order of time."""
    found: dict[str, list[tuple[float, float]]] = {"left": [], "right": []}
    rows = zip(
        footfalls.columns["side"], *(footfalls.numbers(n).tolist() for n in ("contact_s", "toe_off_s")), strict=True
    )
    for side, start, end in sorted(
        (row for row in rows if row[0] and np.isfinite(row[1] + row[2])), key=lambda r: r[1]
    ):
        found.setdefault(side, []).append((start, end))
    return found
