"""Control chart of single values (Shewhart): centre and limits from a site's own first sessions. No check here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from schemas.trial import FloatArray

#: Limits lie this many mean moving ranges from the centre: 3 / d2 with d2 = 1.128 for pairs (the usual table of
#: control chart constants, for example Montgomery, Statistical Quality Control; from memory).
LIMIT_FACTOR = 2.66
#: Sessions the limits are made from; with fewer, a moving range says too little.
BASELINE_SESSIONS = 10


@dataclass(frozen=True)
class Chart:
    """Centre and limits; ``baseline`` values at the start made them and are not judged by them."""

    centre: float
    lower: float
    upper: float
    baseline: int


def control_chart(values: FloatArray, baseline: int = BASELINE_SESSIONS) -> Chart | None:
    """The chart of values in order of time; None with fewer than ``baseline`` values.

    Centre: mean of the first ``baseline`` values; limits: 2.66 times the mean distance between neighbours among them.
    """
    first = np.asarray(values, float)[:baseline]
    if len(first) < max(baseline, 2):
        return None
    centre = float(first.mean())
    reach = LIMIT_FACTOR * float(np.abs(np.diff(first)).mean())
    return Chart(centre, centre - reach, centre + reach, len(first))


def lasting(beyond: np.ndarray) -> int | None:
    """Where two values in a row first lie beyond the same limit: index of the second; None if they never do.

    beyond: (n,) -1 below the lower limit, 0 within, +1 above the upper one. One value beyond may be one odd session.
    """
    twice = (beyond[1:] != 0) & (beyond[1:] == beyond[:-1])
    return int(np.argmax(twice)) + 1 if twice.any() else None
