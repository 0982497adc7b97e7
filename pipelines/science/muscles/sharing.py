"""How much of a muscle's signal another muscle's channel shows too: crosstalk, or one input under two names.

Limits are in the checks; that two channels are one and the same is told there.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipelines.science.muscles.signal import Conditioned, Key


def shared_fractions(muscles: Mapping[Key, Conditioned]) -> dict[Key, float | None]:
    """Largest squared correlation, at no delay, of each muscle's band-passed signal with another's; None without one.

    The common signal of Winter, Fuglevand & Archambault 1994, J Electromyogr Kinesiol 4:57-68 (from memory). Signals
    are not rectified: two muscles that only work at the same moments share nothing. Signals of one rate that start
    together are compared, over the samples that are known in both.
    """
    found: dict[Key, float | None] = dict.fromkeys(muscles)
    alike: dict[tuple[float, float, int], list[Key]] = {}
    for key, muscle in muscles.items():
        if muscle.problem is None:
            alike.setdefault((muscle.rate_hz, muscle.start_s, len(muscle.samples)), []).append(key)
    for keys in alike.values():
        if len(keys) < 2:
            continue
        samples = np.stack([muscles[key].samples for key in keys])
        known = np.isfinite(samples).astype(float)
        samples = np.where(known > 0, samples, 0.0)
        squares = samples**2
        size = (squares @ known.T) * (known @ squares.T)
        shared = (samples @ samples.T) ** 2 / np.where(size > 0, size, np.inf)
        np.fill_diagonal(shared, -1.0)
        found |= {key: float(min(most, 1.0)) for key, most in zip(keys, shared.max(axis=1), strict=True)}
    return found
