"""Zero-lag low-pass filtering. Which signals are filtered, and where they are cut off, is the study file's business."""

from __future__ import annotations

import numpy as np

from schemas.mechanics import runs
from schemas.trial import FloatArray


def corrected_cutoff_hz(cutoff_hz: float, rate_hz: float, order: int = 2, passes: int = 2) -> float:
    """Cut-off in Hz to design one pass with, so that all passes together have a gain of 0.7071 at ``cutoff_hz``.

    One pass of a Butterworth filter has the squared gain 1 / (1 + (w / wc)^(2 order)), so that ``passes`` of it reach
    one half at w / wc = C = (2^(1/passes) - 1)^(1 / (2 order)); for order 2, C = 0.802 for two passes (Winter 2009,
    Biomechanics and Motor Control of Human Movement, ch. 3). In a digital filter w is the warped frequency
    tan(pi f / rate), so that is what is divided by C; dividing f itself leaves a gain a little off 0.7071.

    Raises ValueError if the cut-off is not between 0 and half the rate.
    """
    if not 0 < cutoff_hz < rate_hz / 2:
        raise ValueError(f"a cut-off of {cutoff_hz} Hz does not lie between 0 and half the rate of {rate_hz} Hz")
    correction = (2 ** (1 / passes) - 1) ** (1 / (2 * order))
    return float(rate_hz / np.pi * np.arctan(np.tan(np.pi * cutoff_hz / rate_hz) / correction))


def low_pass(signal: FloatArray, rate_hz: float, cutoff_hz: float | None, order: int = 2) -> FloatArray:
    """The signal without what is faster than ``cutoff_hz``, not shifted in time; same shape, (n,) or (n, k), and unit.

    A Butterworth filter of ``order`` runs forward and backward over each run of samples that are all finite; gaps
    stay gaps and nothing leaks across them. Each run is continued at both ends by its own mirror image, turned over,
    for up to three periods of the cut-off. Without a cut-off, or with one at or above half the rate, where nothing
    recorded could be removed, the signal comes back as it was.
    """
    signal = np.array(signal, float)
    if cutoff_hz is None or cutoff_hz >= rate_hz / 2 or len(signal) == 0:
        return signal
    from scipy.signal import butter, sosfiltfilt

    sections = butter(order, corrected_cutoff_hz(cutoff_hz, rate_hz, order), fs=rate_hz, output="sos")
    pad = max(3 * (2 * len(sections) + 1), round(3 * rate_hz / cutoff_hz))
    valid = np.asarray(np.isfinite(signal).reshape(len(signal), -1).all(axis=1))
    for start, end in runs(valid):
        if end - start > 1:
            signal[start:end] = sosfiltfilt(sections, signal[start:end], axis=0, padlen=min(pad, end - start - 1))
    return signal
