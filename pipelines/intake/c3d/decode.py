"""Our own decoder of C3D data: positions and analog samples for any processor and storage, whole arrays at a time.

It reads what the usual library refuses or misreads, and it is what that library's result is compared with.
"""

from __future__ import annotations

import numpy as np

from pipelines.intake.c3d import numbers
from pipelines.intake.c3d.layout import Layout
from schemas.trial import FloatArray


def decode(data: bytes, layout: Layout, frames: slice | None = None) -> tuple[FloatArray, np.ndarray, FloatArray]:
    """Positions (f, n, 3) in file units, NaN where invalid; valid (f, n); analog samples (f * samples per frame, c).

    ``frames`` limits what is decoded. ``layout`` has made sure that all frames lie in the file.
    """
    counts = layout.counts
    first, last, _ = (frames or slice(None)).indices(counts.frames)
    start = counts.data_start + first * counts.frame_bytes
    chunk = memoryview(data)[start : start + (last - first) * counts.frame_bytes]
    read = numbers.float32 if layout.storage == "float" else numbers.int16
    per_frame = 4 * counts.points + counts.analog_per_frame
    stored = read(chunk, layout.header.processor).reshape(last - first, per_frame)
    four = stored[:, : 4 * counts.points].reshape(last - first, counts.points, 4)
    points = four[:, :, :3].astype(float)
    if layout.storage == "int":
        points *= layout.scale
    valid = (four[:, :, 3] >= 0) & np.isfinite(points).all(axis=2)
    points[~valid] = np.nan
    raw = stored[:, 4 * counts.points :].reshape(-1, counts.channels) if counts.channels else np.empty((0, 0))
    return points, valid, _scaled(raw, layout)


def _scaled(raw: np.ndarray, layout: Layout) -> FloatArray:
    """(value - offset) * scale, for each channel."""
    difference = raw.astype(float)
    if layout.storage == "int" and layout.analog_unsigned:
        difference[difference < 0] += 65536
    difference -= layout.analog_offset
    if not layout.analog_unsigned and len(raw) and np.abs(layout.analog_offset).max(initial=0) >= 16384:
        _unwrap(difference, layout)
    return difference * layout.analog_scale


def _unwrap(difference: FloatArray, layout: Layout) -> None:
    """Undo 16-bit overflow where an offset near the middle of an unsigned range was stored in a signed number.

    Such a channel's samples lie 65536 away from its offset. Files that do this do not always declare it, so the
    distance decides: only channels whose offset is beyond a quarter of the range are touched.
    """
    far = np.abs(layout.analog_offset) >= 16384
    part = difference[:, far]
    if layout.storage == "int":
        part = np.mod(part + 32768, 65536) - 32768
    else:
        middle = np.median(part, axis=0)
        part = part - 65536 * np.round(middle / 65536)
    difference[:, far] = part
