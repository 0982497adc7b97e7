"""How a C3D file describes its force plates: every parameter that must have an entry for each plate, and their sense.

A plate described wrongly gives forces and places that look like running. Source of the parameters' meaning: the public
C3D user guide. Limits were set on 54 public and own recordings: none that a laboratory could use goes back.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np

from checks.self_description.rule import Rule, Said, untidy, wrong
from schemas.self_description import PlateSays, SelfDescription

#: Own choice, as share of the plate's longer side; the most uneven plate of a public sample file has 0.7 %.
NO_RECTANGLE = 0.03
#: Own choice, degrees: 5 read a twelfth of the body's weight as braking; the most uneven public sample lies 1.8 off.
TILTED, NEARLY_LEVEL = 5.0, 2.5
#: Types whose ORIGIN is needed: 2 and 4 (where force is sensed) and 3 (where its four sensors are).
NEEDS_ORIGIN = (2, 3, 4)


def _entries(description: SelfDescription) -> Iterator[Said]:
    says = description.plates
    if says.types != says.used:
        yield wrong(f"FORCE_PLATFORM:USED is {says.used} and FORCE_PLATFORM:TYPE names {says.types} plates")
    counts = {"CORNERS": says.corners, "ORIGIN": says.origins, "CHANNEL": says.channels}
    for name, count in counts.items():
        if count is not None and count != says.used and (count < says.used or says.used):
            yield wrong(
                f"FORCE_PLATFORM:USED is {says.used} and FORCE_PLATFORM:{name} describes {count} "
                f"plate{'' if count == 1 else 's'}"
            )


def _usable(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        if plate.problem:
            yield wrong(f"Force plate {plate.number} cannot be used: {plate.problem}")
        if plate.calibration_singular:
            yield wrong(f"The calibration matrix of force plate {plate.number} mixes its six channels into fewer")


def _origin(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        if plate.c3d_type not in NEEDS_ORIGIN or plate.problem:
            continue
        if plate.origin is None:
            yield wrong(f"FORCE_PLATFORM:ORIGIN has no entry for force plate {plate.number}; (0, 0, 0) was used")
        elif not np.isfinite(plate.origin).all():
            yield wrong(f"FORCE_PLATFORM:ORIGIN of force plate {plate.number} holds what is no number")
        elif plate.c3d_type == 3 and 0.0 in plate.origin[:2]:
            yield wrong(
                f"FORCE_PLATFORM:ORIGIN of force plate {plate.number} (type 3) puts its sensors {plate.origin[0]:g} "
                f"and {plate.origin[1]:g} from the middle, so that no moment can be told"
            )


def _origin_sign(description: SelfDescription) -> Iterator[Said]:
    turned = [p for p in description.plates.plates if p.c3d_type in (2, 4) and p.origin and p.origin[2] > 0]
    if turned:
        numbers = ", ".join(str(p.number) for p in turned)
        yield untidy(
            f"FORCE_PLATFORM:ORIGIN of force plate {numbers} runs from the surface to the sensors, against the "
            "convention; it was turned round"
        )


def _channels(description: SelfDescription) -> Iterator[Said]:
    named = Counter(c for plate in description.plates.plates for c in plate.channels)
    twice = [channel for channel, count in named.items() if count > 1]
    if twice:
        yield wrong(
            f"FORCE_PLATFORM:CHANNEL names channel {', '.join(map(str, twice[:6]))} more than once; what "
            f"{'these' if len(twice) > 1 else 'this one'} should not be is missing"
        )
    for plate in description.plates.plates:
        blank = sorted((set(plate.channels) - _spared(plate)) & set(description.parameters.blank_scales))
        if blank:
            yield wrong(
                f"ANALOG:SCALE of channel {', '.join(map(str, blank))}, of force plate {plate.number}, is 0 or no "
                "number"
            )


def _spared(plate: PlateSays) -> set[int]:
    """Channels that may read nothing: a type 3 plate whose horizontal sensors are summed keeps the sum in the first of
    each pair and nothing in the second (seen in a public sample file)."""
    return {plate.channels[1], plate.channels[3]} if plate.c3d_type == 3 and len(plate.channels) == 8 else set()


def _corners(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        off = _uneven(plate)
        if off is not None and off > NO_RECTANGLE:
            yield wrong(
                f"The corners of force plate {plate.number} make no flat rectangle: opposite sides differ or a corner "
                f"is out of place by {100 * off:.0f} % of a side"
            )


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


PLATE_RULES: tuple[Rule, ...] = (
    Rule(
        "number of force plates",
        tuple(f"FORCE_PLATFORM:{name}" for name in ("USED", "TYPE", "CORNERS", "ORIGIN", "CHANNEL")),
        "one describes more or fewer plates than another",
        "",
        _entries,
    ),
    Rule(
        "description of a force plate",
        (*(f"FORCE_PLATFORM:{name}" for name in ("TYPE", "CORNERS", "CHANNEL", "CAL_MATRIX")), "ANALOG:USED"),
        "the type is not known, corners lie on one line, a channel is not in the file, or the calibration matrix of a "
        "type 4 plate is missing or singular",
        "",
        _usable,
    ),
    Rule(
        "origin of a force plate",
        ("FORCE_PLATFORM:ORIGIN", "FORCE_PLATFORM:TYPE"),
        "it is missing for a plate of type 2, 3 or 4, is no number, or puts the sensors of a type 3 plate in its "
        "middle",
        "",
        _origin,
    ),
    Rule(
        "sign of the origin of a force plate",
        ("FORCE_PLATFORM:ORIGIN", "C3D user guide"),
        "",
        "its third number is positive for a plate of type 2 or 4; the whole vector is turned round",
        _origin_sign,
    ),
    Rule(
        "channels of the force plates",
        ("FORCE_PLATFORM:CHANNEL", "ANALOG:SCALE"),
        "a channel is named twice, or the scale of a plate's channel is 0 or no number (but for the second of the "
        "paired horizontal channels of a type 3 plate)",
        "",
        _channels,
    ),
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
)
