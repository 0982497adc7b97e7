"""Zero-lag low-pass filtering. Which signals are filtered, and where they are cut off, is the study file's business."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

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
    passing = low_pass_design(order, cutoff_hz, rate_hz)
    pad = max(3 * (2 * len(passing.sections) + 1), round(3 * rate_hz / cutoff_hz))
    valid = np.asarray(np.isfinite(signal).reshape(len(signal), -1).all(axis=1))
    for start, end in runs(valid):
        if end - start > 1:
            signal[start:end] = there_and_back(signal[start:end], passing, min(pad, end - start - 1), turned_over=True)
    return signal


def low_pass_paths(
    paths: Mapping[str, FloatArray], rate_hz: float, cutoff_hz: float | None, order: int = 2
) -> dict[str, FloatArray]:
    """``low_pass`` of many paths (n, k) at once, by name: those with the same gaps and length go through together."""
    alike: dict[tuple[tuple[int, ...], bytes], list[str]] = {}
    for name, path in paths.items():
        missing = ~np.isfinite(path)
        alike.setdefault((path.shape, missing.any(axis=1).tobytes() if missing.any() else b""), []).append(name)
    done: dict[str, FloatArray] = {}
    for (shape, _), names in alike.items():
        if len(shape) == 2 and len(names) > 1:
            together = low_pass(np.concatenate([paths[name] for name in names], axis=1), rate_hz, cutoff_hz, order)
            done |= {name: together[:, i * shape[1] : (i + 1) * shape[1]] for i, name in enumerate(names)}
        else:
            done |= {name: low_pass(paths[name], rate_hz, cutoff_hz, order) for name in names}
    return {name: done[name] for name in paths}


def together(signals: Sequence[FloatArray], process: Callable[[FloatArray], FloatArray]) -> list[FloatArray]:
    """``process`` of each signal (n,); those without a gap and of one length go through as columns of one array.

    process: takes (n,) or, all finite, (n, k), and gives the same shape; every column for itself.
    """
    alike: dict[int, list[int]] = {}
    for i, signal in enumerate(signals):
        if np.isfinite(signal).all():
            alike.setdefault(len(signal), []).append(i)
    done: dict[int, FloatArray] = {}
    for places in alike.values():
        if len(places) > 1:
            processed = process(np.stack([signals[i] for i in places], axis=1))
            done |= {i: np.ascontiguousarray(processed[:, column]) for column, i in enumerate(places)}
    return [done[i] if i in done else process(signal) for i, signal in enumerate(signals)]


@dataclass(frozen=True)
class Design:
    """One pass of a filter. sections: (s, 6) second-order sections; settled: (s, 2) their state after a long 1."""

    sections: FloatArray
    settled: FloatArray


@lru_cache(maxsize=128)
def low_pass_design(order: int, cutoff_hz: float, rate_hz: float) -> Design:
    """One pass of the Butterworth low-pass whose two passes have a gain of 0.7071 at ``cutoff_hz``."""
    from scipy.signal import butter

    return design(butter(order, corrected_cutoff_hz(cutoff_hz, rate_hz, order), fs=rate_hz, output="sos"))


@lru_cache(maxsize=128)
def white_noise_left(order: int, cutoff_hz: float | None, rate_hz: float) -> tuple[float, float]:
    """What two passes leave of white noise: standard deviation, and that of the second difference in 1/s2, per unit.

    Squared gain of two passes 1 / (1 + (f / fc)^(2 order))^2, of the second difference (2 - 2 cos(2 pi f / rate))^2
    rate^4, both averaged over all frequencies up to half the rate (Parseval). (1, 6^(1/2) rate^2) without a filter.
    """
    frequency = (np.arange(2000) + 0.5) / 2000 * rate_hz / 2
    if cutoff_hz is None or not cutoff_hz < rate_hz / 2:
        gain = np.ones_like(frequency)
    else:
        turning = np.tan(np.pi * corrected_cutoff_hz(cutoff_hz, rate_hz, order) / rate_hz)
        warped = np.tan(np.pi * frequency / rate_hz) / turning
        gain = 1 / (1 + warped ** (2 * order)) ** 2
    change = (2 - 2 * np.cos(2 * np.pi * frequency / rate_hz)) * rate_hz**2
    return float(gain.mean() ** 0.5), float((gain * change**2).mean() ** 0.5)


def design(sections: FloatArray) -> Design:
    """A filter of these second-order sections (s, 6), ready to be used. It is shared: nobody writes to its arrays."""
    from scipy.signal import sosfilt_zi

    return Design(np.array(sections, float), np.array(sosfilt_zi(sections), float))


def there_and_back(samples: FloatArray, passing: Design, pad: int, *, turned_over: bool) -> FloatArray:
    """Samples (n,) or (n, k), all finite, filtered forward and then backward, so without lag.

    At both ends they go on for ``pad`` samples, fewer than n, as their mirror image, turned over about the last sample
    or not. It gives what scipy's ``sosfiltfilt`` gives, whose start values it would work out anew for each call.
    """
    from scipy.signal import sosfilt

    longer = np.ascontiguousarray(_continued(samples, pad, turned_over).T)
    start = passing.settled.reshape(len(passing.settled), *[1] * (longer.ndim - 1), 2)
    forward, _ = sosfilt(passing.sections, longer, zi=start * longer[..., :1])
    forward = forward[..., ::-1]
    backward, _ = sosfilt(passing.sections, forward, zi=start * forward[..., :1])
    return np.asarray(backward[..., ::-1][..., pad : backward.shape[-1] - pad].T, float)


def _continued(samples: FloatArray, pad: int, turned_over: bool) -> FloatArray:
    if pad == 0:
        return samples
    before, after = samples[pad:0:-1], samples[-2 : -pad - 2 : -1]
    if turned_over:
        before, after = 2 * samples[0] - before, 2 * samples[-1] - after
    return np.concatenate([before, samples, after])
