"""One C3D file to one Recording, by our own bounds-checked code.

What the header and the parameters say is held against the size of the file before a number is decoded; what cannot be
read is refused. What the file says of itself is handed over with every value it states, for checks to judge. ezc3d is a
second opinion, in ``compare``.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipelines.intake.c3d.decode import decode
from pipelines.intake.c3d.layout import Layout, read_layout
from pipelines.intake.c3d.limits import analog_limits
from pipelines.intake.c3d.platforms import PlateSpec, plate_specs
from pipelines.intake.c3d.problem import C3dProblem
from pipelines.intake.c3d.self_description import describe
from pipelines.intake.c3d.unmarked import not_positions
from pipelines.intake.units import metres_per_unit
from schemas.self_description import SelfDescription
from schemas.trial import FileFacts, FloatArray

__all__ = ["C3dProblem", "Recording", "read_c3d"]


@dataclass(frozen=True)
class Recording:
    """One file as it is: lab axes, file units.

    points: (frames, n, 3), NaN where invalid. valid: (frames, n), False where the file marks a point as invalid (its
    residual is negative) or holds no number. analog: (samples, channels), scaled. analog_limits: (channels, 2), the
    smallest and largest value a channel can store, NaN where unknown. unmarked: (frames, n), where a point that the
    file calls measured stands for none, as some writers put zeros or -9999 where they saw none. description: all
    that the file says about itself.
    """

    layout: Layout
    points: FloatArray
    valid: NDArray[np.bool_]
    analog: FloatArray
    analog_limits: FloatArray
    plates: tuple[PlateSpec, ...]
    unmarked: NDArray[np.bool_]
    description: SelfDescription
    oddities: tuple[str, ...]

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
            description=self.description,
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
        return _read(data)


def _read(data: bytes) -> Recording:
    layout = read_layout(data)
    points, valid, analog = decode(data, layout)
    plates, plate_oddities = plate_specs(layout)
    metre = metres_per_unit(layout.point_unit) or 1.0
    unmarked = not_positions(points, layout.point_rate_hz, metre)
    return Recording(
        layout=layout,
        points=points,
        valid=valid,
        analog=analog,
        analog_limits=analog_limits(layout, analog),
        plates=plates,
        unmarked=unmarked,
        description=describe(data, layout, plates, points, analog, unmarked),
        oddities=layout.oddities + plate_oddities + _oddities_of_values(valid, analog),
    )


def _oddities_of_values(valid: NDArray[np.bool_], analog: FloatArray) -> tuple[str, ...]:
    found = []
    if valid.size and not valid.any():
        found.append("every point of every frame is marked invalid, so no position counts")
    # the sum is a quick answer for sound files; only one that is no number needs the longer look
    if analog.size and not np.isfinite(analog.sum()) and not np.isfinite(analog).all():
        found.append("some analog samples are not numbers")
    return tuple(found)
