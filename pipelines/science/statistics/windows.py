"""What the other sites say is usual: windows for a site's median, spread, missing share and last digits.

Pure functions on arrays; registers no check and judges nothing. Every window is as wide as chance needs with few
runners, so that small sites raise no false alarm; what is wide enough to matter is a limit of the check.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from schemas.trial import FloatArray

#: A normal distribution's standard deviation is this many median absolute deviations (1 / 0.6745).
MAD_TO_SD = 1.4826
#: The median of n normal values scatters by this many times SD / sqrt(n) (sqrt(pi / 2)).
MEDIAN_ERROR = 1.2533


def pooled_mad(groups: Sequence[FloatArray]) -> float:
    """Standard deviation within groups, from the median distance to each group's own median; 0 if they all agree.

    The factor sqrt(n / (n - k)), n values in k groups, makes up for distances from medians that the same values gave.
    """
    distances = np.concatenate([np.abs(g - np.median(g)) for g in groups])
    spare = len(distances) - len(groups)
    return float(MAD_TO_SD * np.median(distances) * np.sqrt(len(distances) / spare)) if spare > 0 else 0.0


def pooled_sd(groups: Sequence[FloatArray]) -> tuple[float, int]:
    """Standard deviation within groups, each about its own mean, and its degrees of freedom."""
    spare = sum(len(g) - 1 for g in groups)
    squares = sum(float(((g - g.mean()) ** 2).sum()) for g in groups)
    return (float(np.sqrt(squares / spare)), spare) if spare > 0 else (0.0, 0)


def median_window(
    count: int, others: Mapping[str, FloatArray], robust_z: float, chance: float
) -> tuple[float, float, float] | None:
    """Lowest and highest usual median of ``count`` runners, and the others' spread; None if they do not vary.

    others: site -> one value per runner. The window goes beyond the range of the other sites' medians, so that no site
    is blamed when one of the others is odd, by the larger of ``robust_z`` spreads (from median absolute deviations,
    which one odd runner does not move) and of what chance does with probability ``chance``: two-sided t quantile times
    the standard error of the difference between the site's median and the mean of theirs (from standard deviations,
    which are steadier with few runners).
    """
    from scipy import stats

    groups = list(others.values())
    spread = pooled_mad(groups)
    if spread <= 0:
        return None
    medians = [float(np.median(g)) for g in groups]
    scatter, spare = pooled_sd(groups)
    error = MEDIAN_ERROR * scatter * np.sqrt(1 / count + sum(1 / len(g) for g in groups) / len(groups) ** 2)
    half = max(robust_z * spread, float(stats.t.ppf(1 - chance / 2, spare)) * float(error))
    return min(medians) - half, max(medians) + half, spread


def spread_window(
    count: int, others: Sequence[FloatArray], ratio: float, chance: float
) -> tuple[float, float, float] | None:
    """Smallest and largest usual standard deviation of ``count`` runners, and the others' own; None if that is 0.

    The window is the wider of a factor ``ratio`` to either side and of what chance does with probability ``chance``
    (F distribution, for normal values).
    """
    from scipy import stats

    spread, spare = pooled_sd(others)
    if spread <= 0:
        return None
    low, high = (float(np.sqrt(stats.f.ppf(p, count - 1, spare))) for p in (chance / 2, 1 - chance / 2))
    return spread * min(low, 1 / ratio), spread * max(high, ratio), spread


def most_missing(count: int, other_missing: int, other_count: int, share: float, chance: float) -> int:
    """Largest usual number of runners without a value among ``count``.

    More than the others' share plus ``share``, and likelier than ``chance`` in Fisher's exact test, one-sided.
    """
    from scipy import stats

    usual = (other_missing / other_count + share) * count
    for missing in range(count + 1):
        probability = float(stats.hypergeom.sf(missing - 1, count + other_count, missing + other_missing, count))
        if missing > usual and probability < chance:
            return missing - 1
    return count


def most_heaped(count: int, expected_share: float, chance: float) -> int:
    """Largest usual number of ``count`` values that end in the digits in question, by the binomial distribution."""
    from scipy import stats

    return int(stats.binom.isf(chance, count, expected_share))


def most_divergence(count: int, chance: float, digits: int = 10) -> float:
    """Largest usual Kullback-Leibler divergence (natural logarithm) of ``count`` last digits from equal shares.

    2 n KL is the likelihood-ratio form of chi-square, with digits - 1 degrees of freedom (Wilks 1938, from memory).
    """
    from scipy import stats

    return float(stats.chi2.isf(chance, digits - 1)) / (2 * count)


def last_digits(values: FloatArray, step: float) -> np.ndarray:
    """The digit that counts ``step``, for example 4 of 68.4 kg with a step of 0.1 kg."""
    return np.rint(np.asarray(values, float) / step).astype(np.int64) % 10
