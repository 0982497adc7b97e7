"""The corners of a force plate: whether they make a flat rectangle of the size of a plate, and lie level.

Source of the parameter's meaning: the public C3D user guide.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from checks.self_description.rule import Rule, Said, untidy, wrong
from schemas.self_description import PlateSays, SelfDescription

#: Own choice, as share of the plate's longer side; the most uneven plate of a public sample file has 0.7 %.
NO_RECTANGLE = 0.03
#: Own choice, degrees: 5 read a twelfth of the body's weight as braking; the most uneven public sample lies 1.8 off.
TILTED, NEARLY_LEVEL = 5.0, 2.5
#: m; own choice: the longer side of the smallest plate and of the longest belt that feet could use.
SIDES_M = (0.05, 10.0)


def _corners(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        off = _uneven(plate)
        if off is not None and off > NO_RECTANGLE:
            yield wrong(
                f"The corners of force plate {plate.number} make no flat rectangle: opposite sides differ or a corner "
                f"is out of place by {100 * off:.0f} % of a side"
            )


def _size(description: SelfDescription) -> Iterator[Said]:
    metre = description.read_as.metre
    for plate in description.plates.plates:
        if plate.corners is None or plate.problem or metre is None:
            continue
        corners = metre * np.asarray(plate.corners)
        sides = [float(np.linalg.norm(corners[i] - corners[i + 1])) for i in (0, 1)]
        if not SIDES_M[0] <= max(sides) <= SIDES_M[1]:
            yield wrong(
                f"Force plate {plate.number} is {sides[0]:.2g} by {sides[1]:.2g} m large, in the unit of POINT:UNITS; "
                "its corners were written in another"
            )


def _corner_order(description: SelfDescription) -> Iterator[Said]:
    if description.plates.corner_dims[:2] != (4, 3):
        return
    for plate in description.plates.plates:
        if plate.corners is None or plate.problem:
            continue
        as_stored = np.asarray(plate.corners).reshape(-1).reshape((4, 3), order="F")
        as_stated = _uneven(replace(plate, corners=tuple((float(x), float(y), float(z)) for x, y, z in as_stored)))
        as_read = _uneven(plate)
        said = f"FORCE_PLATFORM:CORNERS of force plate {plate.number} is stored as 4 by 3 numbers, and 3 by 4 were read"
        sound = [off is not None and off <= NO_RECTANGLE for off in (as_read, as_stated)]
        if sound == [True, False]:
            yield untidy(f"{said}; only so they make a rectangle")
        else:
            yield wrong(f"{said}; which is right cannot be distinguished from the corners")


def _uneven(plate: PlateSays) -> float | None:
    """How far from a flat rectangle, as share of the longer side; None where the plate cannot be used anyway."""
    if plate.corners is None or plate.problem:
        return None
    corners = np.asarray(plate.corners)
    # a flat rectangle is the one form in which this parallelogram closes and its diagonals are equal
    side = max(np.linalg.norm(corners[0] - corners[1]), np.linalg.norm(corners[1] - corners[2]))
    open_by = np.linalg.norm(corners[0] - corners[1] + corners[2] - corners[3])
    diagonals = np.linalg.norm(corners[0] - corners[2]) - np.linalg.norm(corners[1] - corners[3])
    return float(max(open_by, abs(diagonals)) / side) if side > 0 else None


def _tilt(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        tilt = _degrees_off_level(plate)
        if tilt is None or tilt <= NEARLY_LEVEL:
            continue
        said = (
            f"The corners of force plate {plate.number} tilt its surface by {tilt:.1f} degrees against every axis of "
            "the laboratory"
        )
        yield wrong(said) if tilt > TILTED else untidy(f"{said}; forces were turned by as much")


def _degrees_off_level(plate: PlateSays) -> float | None:
    """Angle between the plate's normal and the nearest axis of the laboratory; None where it cannot be told."""
    off = _uneven(plate)
    if plate.corners is None or off is None or off > NO_RECTANGLE:
        return None
    corners = np.asarray(plate.corners)
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[1])
    return float(np.degrees(np.arccos(np.clip(np.abs(normal).max() / np.linalg.norm(normal), 0.0, 1.0))))


CORNER_RULES: tuple[Rule, ...] = (
    Rule(
        "corners of a force plate",
        ("FORCE_PLATFORM:CORNERS",),
        "they are off a flat rectangle by more than 3 % of a side",
        "",
        _corners,
    ),
    Rule(
        "level of a force plate",
        ("FORCE_PLATFORM:CORNERS", "axes of the laboratory"),
        "its surface is tilted against every axis by more than 5 degrees",
        "it is tilted by more than 2.5 degrees",
        _tilt,
    ),
    Rule(
        "size of a force plate",
        ("FORCE_PLATFORM:CORNERS", "POINT:UNITS"),
        "its longer side is below 0.05 m or above 10 m",
        "",
        _size,
    ),
    Rule(
        "order of the numbers of a corner",
        ("FORCE_PLATFORM:CORNERS", "its dimensions"),
        "they are stored as 4 by 3 numbers, and that they make a rectangle does not tell how they are meant",
        "they are stored as 4 by 3 numbers and make a rectangle only as 3 by 4",
        _corner_order,
    ),
)
