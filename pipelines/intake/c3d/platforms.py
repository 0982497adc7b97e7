"""The force plates a C3D file declares (FORCE_PLATFORM group), as numbers. What they mean is in ``intake.plates``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.intake.c3d.layout import Layout
from pipelines.intake.c3d.parameters import Parameter
from schemas.trial import FloatArray

CHANNELS = {1: 6, 2: 6, 3: 8, 4: 6}
#: Type -> which of its channels add up to the vertical force as they are.
VERTICAL = {1: (2,), 2: (2,), 3: (4, 5, 6, 7)}


@dataclass(frozen=True)
class PlateSpec:
    """One declared plate: lab axes, file units. channels: from 0, only as many as its type has.

    corners: (4, 3). origin: (3,). calibration: (6, 6) or None. problem: why it cannot be used, or None.
    zero_frames: the point frames FORCE_PLATFORM:ZERO names, counted from 1; (0, 0) for none.
    """

    number: int
    c3d_type: int
    corners: FloatArray
    origin: FloatArray
    channels: tuple[int, ...]
    calibration: FloatArray | None
    zero_frames: tuple[int, int]
    problem: str | None = None


def plate_specs(layout: Layout) -> tuple[tuple[PlateSpec, ...], tuple[str, ...]]:
    """All declared plates, and sentences about what is odd. Never raises on odd content."""
    group = layout.groups.get("FORCE_PLATFORM", {})
    used = group.get("USED")
    types = group.get("TYPE")
    declared = int(used.counts[0]) if used is not None and len(used.counts) else 0
    typed = len(types.values) if types is not None else 0
    oddities = []
    if "FORCE_PLATFORM" not in layout.groups and "FORCE_PLATFORMS" in layout.groups:
        oddities.append("force plates are in a group named FORCE_PLATFORMS, which is not C3D's name; it was not read")
    return tuple(_spec(group, layout, i) for i in range(min(declared, typed))), tuple(oddities)


def _spec(group: dict[str, Parameter], layout: Layout, index: int) -> PlateSpec:
    c3d_type = int(group["TYPE"].counts[index])  # counts: a damaged float may be no number
    corners = of_plate(group.get("CORNERS"), (3, 4), index)
    origin = of_plate(group.get("ORIGIN"), (3,), index)
    calibration = of_plate(group.get("CAL_MATRIX"), (6, 6), index)
    zero = group.get("ZERO")
    first, last = zero.counts[:2].tolist() if zero is not None and len(zero.values) >= 2 else (0, 0)
    channels, problem = _channels(group.get("CHANNEL"), layout.counts.channels, c3d_type, index)
    if corners is None or not np.isfinite(corners).all() or not _has_area(corners.T):
        problem = problem or "its corners are missing or lie on one line"
    if c3d_type == 4 and calibration is None:
        problem = problem or "it is of type 4 and FORCE_PLATFORM:CAL_MATRIX is missing"
    return PlateSpec(
        number=index + 1,
        c3d_type=c3d_type,
        corners=corners.T.astype(float) if corners is not None else np.full((4, 3), np.nan),
        origin=origin.astype(float) if origin is not None else np.zeros(3),
        channels=channels,
        calibration=calibration.astype(float) if calibration is not None and c3d_type == 4 else None,
        zero_frames=(first, last),
        problem=problem,
    )


def of_plate(parameter: Parameter | None, shape: tuple[int, ...], index: int) -> np.ndarray | None:
    """Plate ``index`` of a parameter whose last dimension counts plates; the first varies fastest."""
    size = int(np.prod(shape))
    if parameter is None or parameter.kind == "text" or len(parameter.values) < size * (index + 1):
        return None
    return parameter.values[size * index : size * (index + 1)].reshape(shape, order="F")


def _channels(parameter: Parameter | None, held: int, c3d_type: int, index: int) -> tuple[tuple[int, ...], str | None]:
    """Channel numbers from 0, and what is wrong with them."""
    if c3d_type not in CHANNELS:
        return (), f"its type {c3d_type} is not one that is read (1, 2, 3, 4)"
    wanted = CHANNELS[c3d_type]
    if parameter is None or parameter.kind == "text" or not len(parameter.values):
        return (), "FORCE_PLATFORM:CHANNEL is missing"
    rows = parameter.dims[0] if parameter.dims else 1
    own = parameter.counts[rows * index : rows * (index + 1)][:wanted]
    if len(own) < wanted:
        return (), f"it needs {wanted} channels and FORCE_PLATFORM:CHANNEL names {len(own)}"
    if (own < 1).any() or (own > held).any():
        return (), f"FORCE_PLATFORM:CHANNEL names channel {own.max()} and the file holds {held}"
    return tuple((own - 1).tolist()), None


def _has_area(corners: np.ndarray) -> bool:
    across, along = corners[0] - corners[1], corners[0] - corners[3]
    area = np.linalg.norm(np.cross(across.astype(float), along.astype(float)))
    return bool(area > 1e-9 * np.linalg.norm(across) * np.linalg.norm(along)) and bool(area > 0)
