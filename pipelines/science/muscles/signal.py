"""Muscle signals made ready: microvolts, offset removed, band-passed, zero lag; and why one cannot be used.

Windows, bursts and co-contraction are in the modules beside this one. A signal that is of no use raises nothing: it
comes back all missing, with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from pipelines.science.signals.filters import Design, design, low_pass_design, there_and_back, together
from pipelines.science.signals.gain import gain_of, is_unknown
from pipelines.science.signals.spans import Spans, spans_of
from schemas.mechanics import run_edges, runs
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray, Signal

#: UCUM codes of voltages, in microvolts (UCUM prefixes n, u, m, k).
MICROVOLTS = {"nV": 1e-3, "uV": 1.0, "mV": 1e3, "V": 1e6, "kV": 1e9}
#: Common practice: two equal samples happen by chance in a digital recording, three at its very largest value hardly.
STUCK_SAMPLES = 3
#: A band-pass needs some periods of its lower edge to settle. Common practice.
LEAST_PERIODS = 3

Key = tuple[str, str]  # muscle, side


@dataclass(frozen=True)
class Conditioned:
    """One muscle signal as outcomes take it.

    samples: (n,) uV, band-passed, NaN where missing; sample i stands at ``start_s + i / rate_hz``. problem: a word of
    ``muscle_signals.signal_problem``; then every sample is NaN. raw: (n,) uV at the skin, offset and all, NaN where
    missing, and everywhere if it is not known what a unit of it is worth. gain_known: whether both are truly those at
    the skin; if not, every value is the same unknown number of times too large, which cancels in what is divided by a
    reference of the same channel and in nothing else.
    """

    rate_hz: float
    start_s: float
    samples: FloatArray
    raw: FloatArray
    problem: str | None
    saturated_fraction: float
    missing_fraction: float
    notch_used: bool
    gain_known: bool = True

    def spans(self, start_s: FloatArray, end_s: FloatArray) -> Spans:
        """(w, 2) the same for many times (w,); an empty span where the record does not cover the time."""
        return spans_of(start_s, end_s, self.rate_hz, self.start_s, len(self.samples))

    def span(self, start_s: float, end_s: float) -> slice | None:
        """The samples from ``start_s`` up to but without ``end_s``; None unless the record covers that time."""
        if not self.rate_hz > 0:
            return None
        first, stop = (int(np.ceil((at - self.start_s) * self.rate_hz - 1e-6)) for at in (start_s, end_s))
        return slice(first, stop) if 0 <= first < stop <= len(self.samples) else None


def is_muscle(signal: Signal) -> bool:
    """Whether the signal is a muscle's whose name and side are told."""
    return signal.role == "muscle" and signal.muscle is not None and signal.side is not None


def conditioned_muscles(signals: Iterable[Signal], processing: MuscleProcessing) -> dict[Key, Conditioned]:
    """Every muscle among ``signals`` by name and side. A muscle that stands twice is of no use: which is it?"""
    own = [signal for signal in signals if is_muscle(signal)]
    keys = [(str(signal.muscle), str(signal.side)) for signal in own]
    twice = ["recorded_twice" if key in keys[:i] else None for i, key in enumerate(keys)]
    return dict(zip(keys, conditioned(own, processing, twice), strict=True))


def condition(signal: Signal, processing: MuscleProcessing) -> Conditioned:
    """The signal in uV without its mean, band-passed; without the mains where set."""
    return conditioned([signal], processing, [None])[0]


def conditioned(
    signals: Sequence[Signal], processing: MuscleProcessing, problems: Sequence[str | None]
) -> list[Conditioned]:
    """``condition`` each. problems: what is already known to be wrong with them."""
    begun = [_begun(signal, processing, problem) for signal, problem in zip(signals, problems, strict=True)]
    usable = [i for i, (one, _) in enumerate(begun) if one.problem is None]
    for rate in {begun[i][0].rate_hz for i in usable}:
        same = [i for i in usable if begun[i][0].rate_hz == rate]
        done = together([begun[i][1] for i in same], partial(filtered, rate_hz=rate, processing=processing))
        for i, samples in zip(same, done, strict=True):
            begun[i] = replace(begun[i][0], samples=samples), samples
    return [one for one, _ in begun]


def _begun(signal: Signal, processing: MuscleProcessing, problem: str | None) -> tuple[Conditioned, FloatArray]:
    """All that is known of the signal before it is filtered, and what is to be filtered, (n,) uV."""
    raw = np.where(np.isfinite(signal.samples), signal.samples, np.nan).astype(float)
    steady = _steady_stretches(raw)
    stuck = _stuck_fraction(raw, steady)
    there = np.isfinite(raw)
    for start, stop in steady[steady[:, 1] - steady[:, 0] >= processing.longest_flat_s * signal.rate_hz]:
        there[start:stop] = False
    factor = microvolts_per_unit(signal)
    problem = problem or _problem(signal, raw, there, stuck, factor, processing)
    at_skin = raw * (np.nan if isinstance(factor, str) else factor)
    begun = Conditioned(
        signal.rate_hz,
        signal.start_s,
        np.full(len(raw), np.nan),
        at_skin,
        problem,
        stuck,
        float(np.mean(~there)) if len(there) else 1.0,
        processing.mains_notch_hz is not None and problem is None,
        not is_unknown(signal.amplifier_gain),
    )
    return begun, np.where(there, at_skin, np.nan)


def root_of(smooth_square: FloatArray) -> FloatArray:
    """The envelope (n,) in uV of a squared signal that was low-passed; the filter's undershoots below zero are cut off.

    It is a root mean square with the low-pass as its window, so it is told in the same measure as amplitudes.
    """
    return np.sqrt(np.maximum(smooth_square, 0.0))


def smooth(rectified: FloatArray, rate_hz: float, cutoff_hz: float, order: int = 2) -> FloatArray:
    """A rectified signal without what is faster than ``cutoff_hz``, not shifted in time; NaN stays NaN.

    (n,), or (n, k) without gaps.

    As ``filters.low_pass``, but mirrored and not turned over at the ends: turned over, the curve would have to end on
    the very last sample, which in a rectified signal is as often near zero as not, in the middle of a burst too.
    """
    if not cutoff_hz < rate_hz / 2:
        return rectified
    passing = low_pass_design(order, cutoff_hz, rate_hz)
    return _run_by_run(rectified, passing, round(LEAST_PERIODS * rate_hz / cutoff_hz), shortest=2)


def microvolts_per_unit(signal: Signal) -> float | str:
    """What one unit of the samples is worth in uV, or the word for why that is not known.

    A gain that is a plain number was divided out when the signal was read (see ``Signal``); one in decibels is a
    ratio of voltages, 20 log10, and is divided out here. One that is said to be unknown counts as 1: see
    ``Conditioned.gain_known``.
    """
    factor = MICROVOLTS.get(signal.unit)
    if factor is None:
        return "unit_not_a_voltage"
    if is_unknown(signal.amplifier_gain):
        return factor
    gain = gain_of(signal.amplifier_gain)
    if gain is None:
        return "gain_not_understood"
    return factor / gain.ratio if gain.in_decibels else factor


def band_pass(samples: FloatArray, rate_hz: float, low_hz: float, high_hz: float, order: int = 2) -> FloatArray:
    """The signal between two frequencies in Hz, not shifted in time; NaN stays NaN and leaks nowhere.

    (n,), or (n, k) without gaps.

    A Butterworth band-pass of ``order`` runs forward and backward over each unbroken run of samples, mirrored at its
    ends. Both passes together have a gain of 0.7071 at the two edges: one pass of the analog prototype has the squared
    gain 1 / (1 + ((w^2 - w1 w2) / (B w))^(2 order)), so its width B is divided by the same (2^(1/2) - 1)^(1/(2 order))
    as a low-pass's cut-off (see ``filters.corrected_cutoff_hz``) while w1 w2 stays, with w = tan(pi f / rate).
    A run shorter than three periods of ``low_hz`` is too short to be filtered and comes back NaN.
    """
    settling = round(LEAST_PERIODS * rate_hz / low_hz)
    return _run_by_run(samples, _band_pass_design(order, low_hz, high_hz, rate_hz), settling, shortest=settling)


@lru_cache(maxsize=64)
def _band_pass_design(order: int, low_hz: float, high_hz: float, rate_hz: float) -> Design:
    from scipy.signal import butter

    low, high = np.tan(np.pi * np.array([low_hz, high_hz]) / rate_hz)
    half = (high - low) / (2**0.5 - 1) ** (1 / (2 * order)) / 2
    edges = np.sqrt(low * high + half**2) + np.array([-half, half])
    return design(butter(order, rate_hz / np.pi * np.arctan(edges), "bandpass", fs=rate_hz, output="sos"))


def notch(samples: FloatArray, rate_hz: float, mains_hz: float, width_hz: float) -> FloatArray:
    """The signal without one frequency, not shifted in time; (n,), or (n, k) without gaps. It is ``width_hz`` wide.

    One pass has the squared gain x^2 / (1 + x^2), x being the distance from the middle in half widths; two passes
    reach one half at x^2 = 1 / (2^(1/2) - 1), so one pass is made narrower by that root.
    """
    settling = round(LEAST_PERIODS * rate_hz / width_hz)
    return _run_by_run(samples, _notch_design(mains_hz, width_hz, rate_hz), settling, shortest=2)


@lru_cache(maxsize=64)
def _notch_design(mains_hz: float, width_hz: float, rate_hz: float) -> Design:
    from scipy.signal import iirnotch, tf2sos

    quality = mains_hz / (width_hz * (2**0.5 - 1) ** 0.5)
    return design(tf2sos(*iirnotch(mains_hz, quality, fs=rate_hz)))


def _run_by_run(samples: FloatArray, passing: Design, settling: int, shortest: int) -> FloatArray:
    """Both passes over each run of finite samples at least ``shortest`` samples long; the other samples NaN.

    Runs go on for ``settling`` samples as their mirror image, not turned over: that would put a step of twice the last
    sample at each end.
    """
    result = np.full(samples.shape, np.nan)
    known = np.asarray(np.isfinite(samples).reshape(len(samples), -1).all(axis=1))
    for start, stop in runs(known):
        if stop - start >= shortest:
            pad = min(settling, stop - start - 1)
            result[start:stop] = there_and_back(samples[start:stop], passing, pad, turned_over=False)
    return result


def filtered(
    samples: FloatArray, rate_hz: float, processing: MuscleProcessing, band_high_hz: float | None = None
) -> FloatArray:
    """Without its mean, without the mains where set, and band-passed: (n,), or (n, k) without gaps.

    band_high_hz: the upper edge if it is not the study's own.
    """
    samples = samples - np.nanmean(samples, axis=0)
    if processing.mains_notch_hz is not None:
        samples = notch(samples, rate_hz, processing.mains_notch_hz, processing.mains_notch_width_hz)
    high = processing.band_high_hz if band_high_hz is None else band_high_hz
    return band_pass(samples, rate_hz, processing.band_low_hz, high, processing.filter_order)


def _problem(
    signal: Signal,
    raw: FloatArray,
    there: NDArray[np.bool_],
    stuck: float,
    factor: float | str,
    processing: MuscleProcessing,
) -> str | None:
    """The first thing that stands in the way of any value, from the plainest to the subtlest."""
    if isinstance(factor, str):
        return factor
    if not np.isfinite(raw).any():
        return "missing"
    if not there.any() or np.nanmin(raw) == np.nanmax(raw):
        return "flat"
    if stuck > processing.saturated_fraction_max:
        return "saturated"
    if not signal.rate_hz > 2 * processing.band_high_hz:
        return "rate_too_low"
    longest = max(stop - start for start, stop in runs(there))
    return "too_short" if longest < round(LEAST_PERIODS * signal.rate_hz / processing.band_low_hz) else None


def _steady_stretches(raw: FloatArray) -> NDArray[np.intp]:
    """(k, 2) first index and index after the last of each run of two or more equal finite samples."""
    stretches: NDArray[np.intp] = run_edges(raw[1:] == raw[:-1]) + np.array([0, 1])
    return stretches


def _stuck_fraction(raw: FloatArray, steady: NDArray[np.intp]) -> float:
    """Part of the samples in runs of ``STUCK_SAMPLES`` or more at the largest or smallest value of the record."""
    if not np.isfinite(raw).any():
        return 0.0
    low, high = np.nanmin(raw), np.nanmax(raw)
    if low == high:
        return 0.0
    lengths, values = steady[:, 1] - steady[:, 0], raw[steady[:, 0]]
    return float(lengths[(lengths >= STUCK_SAMPLES) & ((values == low) | (values == high))].sum() / len(raw))
