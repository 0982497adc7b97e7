"""Which events of two trains are the same event. What follows from their differences is elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray


def nearest(times: FloatArray, among: FloatArray) -> NDArray[np.intp]:
    """Place in ``among`` (ascending, not empty) of the value nearest to each of ``times``; the earlier if as near."""
    if len(among) == 1:
        return np.zeros(len(times), np.intp)
    after = np.minimum(np.maximum(np.searchsorted(among, times), 1), len(among) - 1)
    before = after - 1
    return np.where(np.abs(among[before] - times) <= np.abs(among[after] - times), before, after)


def paired(
    one_s: Sequence[float] | FloatArray, other_s: Sequence[float] | FloatArray, within_s: float
) -> NDArray[np.intp]:
    """(n, 2) places of events that are each other's nearest and no more than ``within_s`` apart, in order of time.

    one_s, other_s: times in s, ascending. An event is in one pair at most; a doubled one stays without a partner.
    """
    one, other = np.asarray(one_s, float), np.asarray(other_s, float)
    if len(one) == 0 or len(other) == 0:
        return np.empty((0, 2), np.intp)
    there, back = nearest(one, other), nearest(other, one)
    places = np.arange(len(one))
    keep = (back[there] == places) & (np.abs(one - other[there]) <= within_s)
    return np.stack([places[keep], there[keep]], axis=1)
