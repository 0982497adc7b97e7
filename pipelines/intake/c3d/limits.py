"""The smallest and largest value an analog channel can store, so that clipping can be told from a large force."""

from __future__ import annotations

import numpy as np

from pipelines.intake.c3d.layout import Layout
from schemas.trial import FloatArray


def analog_limits(layout: Layout, analog: FloatArray) -> FloatArray:
    """(channels, 2) in scaled units, the smaller first; NaN where unknown.

    Numbers stored as floats are taken as a converter's only where ANALOG:BITS is there and samples from all over the
    channel are whole before scaling and not all alike: many writers state the bits of a converter whose counts they no
    longer store, and set small forces to exactly 0. A channel with scale 0 has no limits.
    """
    channels = layout.counts.channels
    limits = np.full((channels, 2), np.nan)
    if not channels or (layout.storage == "float" and layout.analog_bits is None):
        return limits
    known = layout.analog_scale != 0
    scale = np.where(known, layout.analog_scale, 1.0)
    bits, unsigned = _converter(layout, analog, scale)
    if layout.storage == "float":
        some = analog[:: len(analog) // 1024 + 1] / scale + layout.analog_offset
        whole = (np.abs(some - np.round(some)) < 1e-3).all(axis=0) & (np.abs(some) <= 2**bits).all(axis=0)
        known = known & whole & (some != some[:1]).any(axis=0)
    low, high = (0, 2**bits - 1) if unsigned else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
    ends = (np.array([low, high]) - layout.analog_offset[:, None]) * scale[:, None]
    limits[known] = np.sort(ends[known], axis=1)
    return limits


def _converter(layout: Layout, analog: FloatArray, scale: FloatArray) -> tuple[int, bool]:
    """Bits of the converter and whether it counts from 0.

    ANALOG:BITS that integers do not keep to is not believed. Without it an integer file is taken as one of 12 bits
    where every offset lies near the middle of 0 to 4095 and every sample within it (common practice of older boards),
    else as one of 16 bits, its storage.
    """
    offset = layout.analog_offset
    ends = _ends(analog, layout.counts.frames) / scale + offset if len(analog) else np.zeros((2, 1))
    if layout.analog_bits is not None and (layout.storage == "float" or _keeps_to(ends, layout.analog_bits)):
        middle = 2 ** (layout.analog_bits - 2)
        counts_from_zero = layout.storage == "int" and layout.analog_bits < 16 and bool((offset >= middle).all())
        return layout.analog_bits, layout.analog_unsigned or counts_from_zero
    if ((offset > 1024) & (offset < 3072)).all() and len(analog) and ends.min() >= -0.5 and ends.max() <= 4095.5:
        return 12, True
    return 16, layout.analog_unsigned


def _ends(analog: FloatArray, frames: int) -> FloatArray:
    """(2, channels) smallest and largest sample; frame by frame first, since NumPy is slow along short rows."""
    by_frame, channels = analog.reshape(frames, -1), analog.shape[1]
    low, high = (each.reshape(-1, channels) for each in (by_frame.min(axis=0), by_frame.max(axis=0)))
    return np.stack([low.min(axis=0), high.max(axis=0)])


def _keeps_to(ends: FloatArray, bits: int) -> bool:
    """Whether the smallest and largest samples, in counts, are numbers of so many bits, signed or not."""
    return bool(ends.min() > -(2 ** (bits - 1)) - 0.5 and ends.max() < 2**bits - 0.5)
