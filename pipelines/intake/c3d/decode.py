"""The measured numbers of a C3D file: positions and analog samples for any processor and storage.

The stored numbers are never copied as they are: views of the file's bytes are converted once, whole columns at a time,
into the arrays that are returned. ``layout`` has made sure before that every frame lies in the file.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipelines.intake.c3d import numbers
from pipelines.intake.c3d.layout import Layout
from schemas.trial import FloatArray


def decode(data: bytes, layout: Layout) -> tuple[FloatArray, NDArray[np.bool_], FloatArray]:
    """Positions (f, n, 3) in file units, NaN where invalid; valid (f, n); analog samples (f * samples per frame, c).

    All arithmetic is in double precision on the stored numbers: position * scale, (sample - offset) * scale.
    """
    counts, stored = layout.counts, stored_numbers(data, layout)
    points, valid = _points(stored[:, : 4 * counts.points].reshape(counts.frames, counts.points, 4), layout)
    return points, valid, _analog(stored[:, 4 * counts.points :], layout)


def stored_numbers(data: bytes, layout: Layout) -> np.ndarray:
    """(f, 4 n + c * samples per frame) the numbers of each frame as stored, without a copy where NumPy knows them."""
    counts = layout.counts
    chunk = memoryview(data)[counts.data_start : counts.data_start + counts.frames * counts.frame_bytes]
    view = numbers.float32_view if layout.storage == "float" else numbers.int16_view
    per_frame = 4 * counts.points + counts.analog_per_frame
    return view(chunk, layout.header.processor).reshape(counts.frames, per_frame)


def _points(four: np.ndarray, layout: Layout) -> tuple[FloatArray, NDArray[np.bool_]]:
    """From (f, n, 4) stored numbers: x, y, z and the residual, whose sign says whether the point counts."""
    points = np.empty((*four.shape[:2], 3))
    valid = four[:, :, 3] >= 0
    for axis in range(3):  # NumPy is slow where the innermost axis is as short as three
        stored = four[:, :, axis]
        if layout.storage == "float":
            points[:, :, axis] = stored
            valid &= np.isfinite(stored)
        else:
            np.multiply(stored, layout.scale, out=points[:, :, axis])
    if not valid.all():
        points[~valid] = np.nan
    return points, valid


def _analog(stored: np.ndarray, layout: Layout) -> FloatArray:
    """From (f, channels * samples per frame) stored numbers: (value - offset) * scale, for each channel."""
    counts = layout.counts
    if not counts.channels:
        return np.empty((0, 0))
    if not counts.frames:
        return np.empty((0, counts.channels))
    # frame by frame while possible: one frame's samples make a longer innermost axis than one sample's channels
    offset = np.tile(layout.analog_offset, counts.samples_per_frame)
    scale = np.tile(layout.analog_scale, counts.samples_per_frame)
    unsigned, far = layout.analog_unsigned, np.abs(layout.analog_offset) >= 16384
    if not offset.any() and not (layout.storage == "int" and unsigned):
        scaled: FloatArray = np.multiply(stored, scale, dtype=float).reshape(-1, counts.channels)
        return scaled
    samples = stored.astype(float)
    if layout.storage == "int" and unsigned:
        samples[samples < 0] += 65536
    samples -= offset
    if not unsigned and far.any():
        _unwrap(samples.reshape(-1, counts.channels), far, layout.storage)
    samples *= scale
    return samples.reshape(-1, counts.channels)


def _unwrap(difference: FloatArray, far: NDArray[np.bool_], storage: str) -> None:
    """Undo 16-bit overflow where an offset near the middle of an unsigned range was stored in a signed number.

    Such a channel's samples lie 65536 away from its offset. Files that do this do not always declare it, so the
    distance decides: only channels whose offset is beyond a quarter of the range, the ``far`` ones, are touched.
    """
    part = difference[:, far]
    if storage == "int":
        part = np.mod(part + 32768, 65536) - 32768
    else:
        middle = np.median(part[:: len(part) // 2000 + 1], axis=0)  # enough samples to tell one range from the next
        part = part - 65536 * np.round(middle / 65536)
    difference[:, far] = part
