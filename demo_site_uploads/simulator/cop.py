"""Centre of pressure under the foot during one contact, in the foot's own directions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_PHASES = (0.0, 0.12, 0.30, 0.60, 0.85, 1.0)


def along_foot(phase: FloatArray, start: float) -> FloatArray:
    """Share of foot length from the heel at ``phase`` of contact.

    A rearfoot landing (``start`` about 0.1) runs forward all the time; a forefoot landing (about 0.75) first goes
    back towards the lowering heel, then forward to the toes.
    """
    from scipy.interpolate import PchipInterpolator

    shares = (start, start + 0.45 * (0.5 - start), 0.52, 0.66, 0.74, 0.80)
    return PchipInterpolator(_PHASES, shares)(np.clip(phase, 0, 1))


def outward_m(phase: FloatArray) -> FloatArray:
    """Distance from the foot's axis, outward positive, in m: contact begins on the outer edge."""
    return 0.010 * (1 - 1.4 * np.clip(phase, 0, 1))
