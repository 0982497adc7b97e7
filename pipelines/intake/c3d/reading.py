"""One C3D file to one Recording, by the usual library (ezc3d) or, where that fails, by our own decoder.

ezc3d 1.7.2 refuses big-endian (MIPS) files and some damaged ones, and misreads a few forms without saying so. So the
layout is parsed first by our own bounds-checked code; forms known to be misread go to our decoder, and of every other
file three frames are decoded both ways and compared. A file is never read two ways with two answers unnoticed.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipelines.intake.c3d.decode import decode
from pipelines.intake.c3d.layout import Layout, read_layout
from pipelines.intake.c3d.platforms import PlateSpec, plate_specs
from pipelines.intake.c3d.problem import C3dProblem
from schemas.trial import FileFacts, FloatArray

__all__ = ["C3dProblem", "Recording", "read_c3d"]


@dataclass(frozen=True)
class Recording:
    """One file as it is: lab axes, file units.

    points: (frames, n, 3), NaN where invalid. valid: (frames, n), False where the file marks a point as invalid (its
    residual is negative) or holds no number. analog: (samples, channels), scaled. analog_limits: (channels, 2), the
    smallest and largest value a channel can store, NaN where unknown. events: seconds, label, context.
    reader: "ezc3d" or "manystrides".
    """

    layout: Layout
    points: FloatArray
    valid: NDArray[np.bool_]
    analog: FloatArray
    analog_limits: FloatArray
    plates: tuple[PlateSpec, ...]
    oddities: tuple[str, ...]
    reader: str

    @property
    def labels(self) -> tuple[str, ...]:
        """Point labels in file order."""
        return self.layout.point_labels

    @property
    def analog_labels(self) -> tuple[str, ...]:
        """Analog labels in file order."""
        return self.layout.analog_labels

    @property
    def facts(self) -> FileFacts:
        """What checks need to know of the file itself."""
        layout, counts = self.layout, self.layout.counts
        return FileFacts(
            processor=layout.processor,
            storage=layout.storage,
            point_count=counts.points,
            frame_count=counts.frames,
            point_rate_hz=layout.point_rate_hz,
            point_unit=layout.point_unit,
            analog_count=counts.channels,
            analog_rate_hz=layout.analog_rate_hz,
            labels=layout.point_labels,
            oddities=self.oddities,
            reader=self.reader,
        )


def read_c3d(path: Path) -> Recording:
    """Read one file. Raises C3dProblem with a plain sentence for anything that is not a whole C3D file."""
    try:
        data = Path(path).read_bytes()
    except FileNotFoundError:
        raise C3dProblem(f"there is no file {Path(path).name}", "missing") from None
    except OSError as problem:
        raise C3dProblem(f"the file cannot be opened: {problem.strerror}", "missing") from None
    layout = read_layout(data)
    read = None if _misread_by_ezc3d(layout) else _by_ezc3d(path, data, layout)
    points, valid, analog = read or decode(data, layout)
    plates, plate_oddities = plate_specs(layout)
    return Recording(
        layout=layout,
        points=points,
        valid=valid,
        analog=analog,
        analog_limits=_limits(layout, analog),
        plates=plates,
        oddities=layout.oddities + plate_oddities + _oddities_of_values(layout, valid, analog),
        reader="ezc3d" if read else "manystrides",
    )


def _misread_by_ezc3d(layout: Layout) -> bool:
    """Whether the file has a form that ezc3d 1.7.2 refuses or misreads. Each was seen in a public sample file.

    MIPS: refused. Header and parameters disagree on points, analog values, rates or data start: one of them is
    followed without a check. Offsets beyond a quarter of the 16-bit range, or negative: their absolute value is taken.
    """
    awkward = (
        "the header counts",
        "the header starts",
        "ANALOG:",
        "POINT:RATE",
        "the parameter section",
        "a parameter record",
    )
    return (
        layout.processor == "MIPS"
        or layout.analog_unsigned
        or bool((np.abs(layout.analog_offset) >= 16384).any() or (layout.analog_offset < 0).any())
        or any(oddity.startswith(awkward) for oddity in layout.oddities)
        or not layout.counts.points
        or layout.counts.frames >= 65535
    )


def _by_ezc3d(
    path: Path, data: bytes, layout: Layout
) -> tuple[FloatArray, NDArray[np.bool_], FloatArray] | None:
    """The same arrays through ezc3d; None when it refuses the file or disagrees with the layout or our decoder."""
    import ezc3d

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            content = ezc3d.c3d(str(path))["data"]
        points = np.ascontiguousarray(np.moveaxis(content["points"][:3], (0, 1, 2), (2, 1, 0)))
        residuals = content["meta_points"]["residuals"][0].T
        analog = np.ascontiguousarray(content["analogs"][0].T)
    except MemoryError:
        raise
    except Exception:
        return None
    counts = layout.counts
    if not counts.channels:
        analog = np.empty((0, 0))
    samples = counts.frames * counts.samples_per_frame if counts.channels else 0
    if points.shape != (counts.frames, counts.points, 3) or analog.shape != (samples, counts.channels):
        return None
    valid = np.isfinite(points).all(axis=2) & (residuals >= 0)
    points[~valid] = np.nan
    return (points, valid, analog) if _agrees(points, analog, data, layout) else None


def _agrees(points: FloatArray, analog: FloatArray, data: bytes, layout: Layout) -> bool:
    """Whether the first, the middle and the last frame are what our own decoder reads."""
    per_frame = layout.counts.samples_per_frame
    for frame in {0, layout.counts.frames // 2, layout.counts.frames - 1} if layout.counts.frames else ():
        own_points, _, own_analog = decode(data, layout, slice(frame, frame + 1))
        ours = analog[frame * per_frame : (frame + 1) * per_frame]
        if not np.allclose(points[frame], own_points[0], rtol=1e-5, atol=1e-6, equal_nan=True):
            return False
        if not np.allclose(ours, own_analog, rtol=1e-5, atol=1e-6, equal_nan=True):
            return False
    return True


def _limits(layout: Layout, analog: FloatArray) -> FloatArray:
    """The smallest and largest value each channel can store, in scaled units.

    With ANALOG:BITS: those of a converter of that many bits. Without it, in integer files: those of 16 bits. Numbers
    stored as floats are taken as a converter's only where the first samples are all whole before scaling.
    """
    channels = layout.counts.channels
    limits = np.full((channels, 2), np.nan)
    if not channels or (layout.storage == "float" and layout.analog_bits is None):
        return limits
    bits = layout.analog_bits or 16
    unsigned = layout.analog_unsigned
    if layout.storage == "int" and bits < 16 and not unsigned:  # 12-bit boards often count 0 to 4095 about 2048
        unsigned = bool((layout.analog_offset >= 2 ** (bits - 2)).all())
    low, high = (0, 2**bits - 1) if unsigned else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
    ends = (np.array([low, high]) - layout.analog_offset[:, None]) * layout.analog_scale[:, None]
    known = layout.analog_scale != 0
    if layout.storage == "float":
        scale = np.where(known, layout.analog_scale, 1.0)
        raw = analog[:256] / scale + layout.analog_offset
        known = known & (np.abs(raw - np.round(raw)) < 1e-3).all(axis=0) & (np.abs(raw) <= 2**bits).all(axis=0)
    limits[known] = np.sort(ends[known], axis=1)
    return limits


def _oddities_of_values(layout: Layout, valid: NDArray[np.bool_], analog: FloatArray) -> tuple[str, ...]:
    found = []
    if valid.size and not valid.any():
        found.append("every point of every frame is marked invalid, so no position counts")
    repeated = sorted({label for label in layout.point_labels if layout.point_labels.count(label) > 1})
    if repeated:
        found.append(f"more than one point is labelled {', '.join(repeated[:5])}; the first was used")
    if analog.size and not np.isfinite(analog).all():
        found.append("some analog samples are not numbers")
    return tuple(found)
