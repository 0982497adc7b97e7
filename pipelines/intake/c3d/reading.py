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
from pipelines.intake.c3d.limits import analog_limits
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
    with np.errstate(all="ignore"):  # damaged numbers are met with below, not warned of
        return _read(path, data)


def _read(path: Path, data: bytes) -> Recording:
    layout = read_layout(data)
    read = None if _misread_by_ezc3d(layout) else _by_ezc3d(path, data, layout)
    points, valid, analog = read or decode(data, layout)
    plates, plate_oddities = plate_specs(layout)
    return Recording(
        layout=layout,
        points=points,
        valid=valid,
        analog=analog,
        analog_limits=analog_limits(layout, analog),
        plates=plates,
        oddities=layout.oddities + plate_oddities + _oddities_of_values(layout, valid, analog),
        reader="ezc3d" if read else "manystrides",
    )


#: Without these ezc3d 1.7.2 was seen to end its process on damaged files.
_EZC3D_NEEDS = (
    *(("POINT", name) for name in ("USED", "SCALE", "RATE", "FRAMES", "LABELS", "UNITS", "DATA_START")),
    *(("ANALOG", name) for name in ("USED", "LABELS", "UNITS", "SCALE", "OFFSET", "GEN_SCALE", "RATE")),
)


def _misread_by_ezc3d(layout: Layout) -> bool:
    """Whether the file has a form that ezc3d 1.7.2 refuses, misreads or crashes on.

    MIPS: refused. Header and parameters that disagree on points, analog values, rates or data start: one of them is
    followed without a check. Offsets that are negative or beyond a quarter of the 16-bit range: their absolute value
    is taken. Each was seen in a public sample file. Any other oddity of the structure goes the same, safer way.
    """
    groups = _EZC3D_NEEDS if layout.counts.channels else _EZC3D_NEEDS[:7]
    return (
        layout.processor == "MIPS"
        or bool(layout.oddities)
        or layout.analog_unsigned
        or bool((np.abs(layout.analog_offset) >= 16384).any() or (layout.analog_offset < 0).any())
        or any(name not in layout.groups.get(group, {}) for group, name in groups)
        or not layout.counts.points
        or layout.counts.frames >= 65535
    )


def _by_ezc3d(path: Path, data: bytes, layout: Layout) -> tuple[FloatArray, NDArray[np.bool_], FloatArray] | None:
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
