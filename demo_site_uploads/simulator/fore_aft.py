"""Fore-aft and sideways force of one contact. Each footfall's net fore-aft impulse is zero: speed is steady.

Shapes and sizes are common practice for easy running: braking peak about 0.3 body weights in the first half of
contact, push of the same impulse in the second, a few per cent of body weight towards the midline.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

BRAKING_SHARE = 0.48  # part of contact spent braking
TOWARDS_MIDLINE_BW = 0.05


def fore_aft_bw(phase: FloatArray, braking_bw: float) -> FloatArray:
    """Forward force in body weights at ``phase`` of contact (0 to 1): two squared-sine lobes of equal area."""
    brake = -braking_bw * np.sin(np.pi * np.clip(phase / BRAKING_SHARE, 0, 1)) ** 2
    push_bw = braking_bw * BRAKING_SHARE / (1 - BRAKING_SHARE)
    push = push_bw * np.sin(np.pi * np.clip((phase - BRAKING_SHARE) / (1 - BRAKING_SHARE), 0, 1)) ** 2
    return brake + push


def sideways_bw(phase: FloatArray, side: str) -> FloatArray:
    """Force to the runner's right in body weights: towards the midline, so to the left under the right foot."""
    size = TOWARDS_MIDLINE_BW * np.sin(np.pi * np.clip(phase, 0, 1)) ** 2
    return -size if side == "right" else size
