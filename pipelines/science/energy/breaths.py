"""Which samples of breathing gas count, how far their mean scatters and drifts. Plateaus are found in ``bouts``."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray

#: Own choices: with fewer neighbours nothing is called far off; no analyser reads more closely than this part of a gas.
_FEWEST, _CLOSEST = 4, 0.01
_ROUNDS = 5
_MOST_ALIKE = 0.9


def usable(gases: FloatArray, neighbours: int, most_sd: float) -> NDArray[np.bool_]:
    """(n,) which samples of (n, k) gases in order of time count as breaths.

    Out goes what is not known or not above zero (a swallow, a cough), and what lies further than ``most_sd`` standard
    deviations from the mean of the samples around it, ``neighbours`` on each side or as many in all (Lamarra et al.
    1987, J Appl Physiol 62:2003: four standard deviations from the local mean, from memory). The sample itself is no
    part of mean and deviation, and both are taken anew until no more goes out, so that one cough hides no other.
    """
    known = np.isfinite(gases) & (np.where(np.isfinite(gases), gases, 0.0) > 0)
    counts: NDArray[np.bool_] = np.asarray(known.all(axis=1))
    for _ in range(_ROUNDS):
        places = np.flatnonzero(counts)
        far = _far_off(gases[places], neighbours, most_sd)
        if not far.any():
            break
        counts[places[far]] = False
    return counts


def _far_off(gases: FloatArray, neighbours: int, most_sd: float) -> NDArray[np.bool_]:
    window = min(2 * neighbours + 1, len(gases))
    first = np.clip(np.arange(len(gases)) - neighbours, 0, len(gases) - window)  # as many at the ends as in the middle
    stop = first + window
    count = (stop - first - 1)[:, None]
    if len(gases) < _FEWEST + 1:
        return np.zeros(len(gases), bool)
    centred = gases - gases.mean(axis=0)  # so that little is lost in the squares
    sums, squares = (np.vstack([np.zeros((1, gases.shape[1])), np.cumsum(v, axis=0)]) for v in (centred, centred**2))
    mean = (sums[stop] - sums[first] - centred) / count
    spread = np.maximum((squares[stop] - squares[first] - centred**2 - count * mean**2) / np.maximum(count - 1, 1), 0.0)
    known = np.sqrt(np.maximum(spread, (_CLOSEST * (mean + gases.mean(axis=0))) ** 2))
    off = np.abs(centred - mean) > most_sd * known * np.sqrt(1 + 1 / count)
    return np.asarray((off & (count >= _FEWEST)).any(axis=1))


def mean_uncertainty(values: FloatArray, weights: FloatArray) -> float:
    """Standard uncertainty of the weighted mean of (n,) values by their own scatter; NaN with fewer than two.

    JCGM 100:2008, 4.2.3 (from memory), for a mean of unequal weights. Neighbours that are alike tell less: the variance
    grows by (1 + r) / (1 - r) with their correlation r where that is above 0.
    """
    if len(values) < 2:
        return float("nan")
    apart = values - (weights @ values) / weights.sum()
    own = (weights**2 @ apart**2) / weights.sum() ** 2 * len(values) / (len(values) - 1)
    return float(np.sqrt(own * _alike(apart)))


def drift(times_s: FloatArray, values: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Weighted least-squares slope of (n,) values per s and its standard uncertainty by their scatter about the line.

    NaN with fewer than three. Scatter that is alike in neighbours counts as in ``mean_uncertainty``.
    """
    if len(values) < 3:
        return float("nan"), float("nan")
    since = times_s - (weights @ times_s) / weights.sum()
    mean = (weights @ values) / weights.sum()
    size = weights @ since**2
    slope = float((weights * since) @ (values - mean) / size)
    apart = values - mean - slope * since
    own = ((weights * since) ** 2 @ apart**2) / size**2 * len(values) / (len(values) - 2)
    return slope, float(np.sqrt(own * _alike(apart)))


def _alike(apart: FloatArray) -> float:
    whole = float(apart @ apart)
    alike = min(max(float(apart[1:] @ apart[:-1]) / whole, 0.0), _MOST_ALIKE) if whole > 0 else 0.0
    return (1 + alike) / (1 - alike)
