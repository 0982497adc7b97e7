"""How much of a muscle's signal is mains hum. Registers no check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from pipelines.science.muscles.measures import LEVEL_WINDOW_S, Muscle
from pipelines.science.signals.middle import known_median
from schemas.trial import FloatArray

#: Mains frequencies in Hz (IEC 60038), how far they wander, and how many harmonics are looked at (own choices).
MAINS_HZ, MAINS_WANDERS_HZ, MAINS_STEP_HZ, MAINS_HARMONICS = (50.0, 60.0), 0.3, 0.1, 4
#: Own choice: a line told to 0.1 Hz keeps step with the mains for this long.
MAINS_STRETCH_S = 5.0


@dataclass(frozen=True)
class Hum:
    """Mains in a signal. share: its part of the power while the muscle is quiet.

    lines_hz, factors: the frequencies of the hum (k,), and by how much (2 k,) their cosines and sines are in it; times
    (n,) of the signal's samples from its first, in s.
    """

    mains_hz: float
    share: float
    lines_hz: FloatArray
    factors: FloatArray
    times_s: FloatArray

    @cached_property
    def wave_uv(self) -> FloatArray:
        """(n,) the hum itself."""
        return _waves(self.times_s, self.lines_hz) @ self.factors if len(self.lines_hz) else np.zeros(len(self.times_s))

    @property
    def size_uv(self) -> float:
        """Its root mean square."""
        return float(np.sqrt(np.mean(self.wave_uv**2)))


def hum_of(muscle: Muscle, known_hz: float | None) -> Hum:
    """The mains frequency, with harmonics, that explains most of the muscle's quiet half. known_hz: notched already."""
    return hums_of([muscle], known_hz)[0]


def hums_of(muscles: Sequence[Muscle], known_hz: float | None) -> list[Hum]:
    """``hum_of`` each: a fit by least squares of cosines and sines to the quiet samples of the first seconds.

    Products of waves are sums of waves of the summed and of the differing frequency, so all that a fit needs are the
    sums over the quiet samples of the waves of one frequency's multiples, and of these times the signal.
    """
    quiet = [_quiet(muscle) for muscle in muscles]
    stretches = [
        (min(len(q), int(np.ceil(MAINS_STRETCH_S * m.rate_hz))), m.rate_hz) for m, q in zip(muscles, quiet, strict=True)
    ]
    ys = [np.where(q, m.banded, 0.0) for m, q in zip(muscles, quiet, strict=True)]
    sums: dict[int, FloatArray] = {}
    for stretch in set(stretches):
        own = [i for i, other in enumerate(stretches) if other == stretch]
        columns = [column[: stretch[0]].astype(float) for i in own for column in (quiet[i], ys[i])]
        waves = _multiples(stretch[1])[:, : stretch[0]] @ np.stack(columns, axis=1)
        sums |= {i: waves[:, 2 * at : 2 * at + 2] for at, i in enumerate(own)}
    return [
        _best(m, known_hz, sums[i], int(quiet[i][: stretches[i][0]].sum()), ys[i][: stretches[i][0]])
        for i, m in enumerate(muscles)
    ]


def _best(muscle: Muscle, known_hz: float | None, sums: FloatArray, count: int, y: FloatArray) -> Hum:
    """The frequency that explains most of y (n,), the signal where it is quiet and else 0; count: how much is quiet."""
    times, power = np.arange(len(muscle.banded)) / muscle.rate_hz, float(y @ y)
    best = Hum(MAINS_HZ[0], 0.0, np.empty(0), np.empty(0), times)
    if count < 0.1 * muscle.rate_hz or not power > 0:
        return best
    by_frequency = sums.reshape(len(_TRIED), 2 * _SUMS, 2)
    for mains in MAINS_HZ:
        places = [i for i, (near, _) in enumerate(_TRIED) if near == mains]
        harmonics = np.arange(2 if mains == known_hz else 1, MAINS_HARMONICS + 1)
        harmonics = harmonics[max(_TRIED[i][1] for i in places) * harmonics < muscle.band[1]]
        if not len(harmonics):
            continue
        gram, onto = _normal_equations(by_frequency[places], harmonics, count)
        factors = np.linalg.solve(gram, onto[..., None])[..., 0]
        shares = (factors * onto).sum(axis=1) / power  # by least squares the error is at right angles
        top = int(np.argmax(shares))
        if shares[top] > best.share:
            lines = np.asarray(_TRIED[places[top]][1] * harmonics, np.float64)
            best = Hum(mains, float(shares[top]), lines, np.asarray(factors[top], np.float64), times)
    return best


_TRIED = [
    (mains, float(f))
    for mains in MAINS_HZ
    for f in np.arange(mains - MAINS_WANDERS_HZ, mains + MAINS_WANDERS_HZ + 1e-9, MAINS_STEP_HZ)
]
_SUMS = 2 * MAINS_HARMONICS  # highest multiple in a product of two harmonics


@lru_cache(maxsize=2)  # the muscles of one trial have the same rate
def _multiples(rate_hz: float) -> FloatArray:
    """(tried 2 m, n) over the longest stretch: of each frequency tried the cosines of its multiples, then the sines."""
    turns = 2j * np.pi * np.arange(int(np.ceil(MAINS_STRETCH_S * rate_hz))) / rate_hz
    found = np.empty((len(_TRIED), 2, _SUMS, len(turns)))
    for place, (_, frequency) in enumerate(_TRIED):
        once = np.exp(frequency * turns)
        power = once
        for multiple in range(_SUMS):  # powers of one wave are its multiples
            found[place, 0, multiple], found[place, 1, multiple] = power.real, power.imag
            power = power * once
    return found.reshape(-1, len(turns))


def _normal_equations(sums: FloatArray, harmonics: NDArray[np.intp], count: int) -> tuple[FloatArray, FloatArray]:
    """Gram matrices (f, 2 k, 2 k) of k harmonics over ``count`` quiet samples, and their products with y (f, 2 k).

    sums: (f, 2 m, 2) of each frequency's multiples, over the quiet samples and over y.
    """
    tried, k = len(sums), len(harmonics)
    cosine = np.concatenate([np.full((tried, 1), float(count)), sums[:, :_SUMS, 0]], axis=1)  # by multiple, from 0
    sine = np.concatenate([np.zeros((tried, 1)), sums[:, _SUMS:, 0]], axis=1)
    plus, minus = np.add.outer(harmonics, harmonics), np.subtract.outer(harmonics, harmonics)
    gram = np.empty((tried, 2 * k, 2 * k))
    gram[:, :k, :k] = (cosine[:, np.abs(minus)] + cosine[:, plus]) / 2
    gram[:, k:, k:] = (cosine[:, np.abs(minus)] - cosine[:, plus]) / 2
    gram[:, k:, :k] = (sine[:, plus] + np.sign(minus) * sine[:, np.abs(minus)]) / 2  # row sine, column cosine
    gram[:, :k, k:] = np.swapaxes(gram[:, k:, :k], 1, 2)
    gram += 1e-9 * count * np.eye(2 * k)  # never singular
    return gram, np.concatenate([sums[:, harmonics - 1, 1], sums[:, _SUMS + harmonics - 1, 1]], axis=1)


def _waves(t: FloatArray, lines: FloatArray) -> FloatArray:
    """(n, 2 k): cosine and sine of each of k frequencies at times t (n,)."""
    turns = 2 * np.pi * np.outer(t, lines)
    return np.hstack([np.cos(turns), np.sin(turns)])


def _quiet(muscle: Muscle) -> NDArray[np.bool_]:
    """(n,) samples in windows no louder than the median one, gaps left out."""
    length = max(round(LEVEL_WINDOW_S * muscle.rate_hz), 1)
    loud = muscle.levels_uv > known_median(muscle.levels_uv)
    mask = np.isfinite(muscle.banded)
    for window in np.flatnonzero(loud):
        start = window * max(length // 2, 1)
        mask[start : start + length] = False
    return mask
