"""How a C3D file describes its force plates: every parameter that must have an entry for each plate, and their sense.

A plate described wrongly gives forces and places that look like running. Source of the parameters' meaning: the public
C3D user guide. Limits were set on 54 public and own recordings: none that a laboratory could use goes back.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator

import numpy as np

from checks.self_description.corner_rules import CORNER_RULES
from checks.self_description.rule import Rule, Said, untidy, wrong
from schemas.self_description import PlateSays, SelfDescription

#: m; own choice: nothing senses force so little below a surface on which people run.
LEAST_DEPTH_M = 0.001
#: Own choice, as share of the largest force in the trial: more is no noise of an empty plate.
LOADED = 0.05
#: Type -> its channels of force, and of moments, as far as they share a unit.
_FORCES = {1: slice(0, 3), 2: slice(0, 3), 3: slice(0, 8), 4: slice(0, 3)}
_MOMENTS = {2: slice(3, 6), 4: slice(3, 6)}
_VOLTS = frozenset({"v", "mv", "uv", "volt", "volts"})
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
                f"and {plate.origin[1]:g} from the middle, so that no moment can be given"
            )
        elif 0 < abs(plate.origin[2]) * (description.read_as.metre or 1.0) < LEAST_DEPTH_M:
            yield wrong(
                f"FORCE_PLATFORM:ORIGIN of force plate {plate.number} puts its sensors {abs(plate.origin[2]):.2g} "
                f"{description.read_as.unit} below the surface, in another unit"
            )
    flat = [p for p in description.plates.plates if p.c3d_type in (2, 4) and p.origin == (0.0, 0.0, 0.0)]
    if flat:
        yield untidy(
            f"FORCE_PLATFORM:ORIGIN of force plate {_numbers(flat)} is (0, 0, 0); that is right only where moments are "
            "told about the middle of the surface"
        )


def _numbers(plates: Iterable[PlateSays]) -> str:
    return ", ".join(str(plate.number) for plate in plates)


def _origin_sign(description: SelfDescription) -> Iterator[Said]:
    turned = [p for p in description.plates.plates if p.c3d_type in (2, 4) and p.origin and p.origin[2] > 0]
    if turned:
        said = f"FORCE_PLATFORM:ORIGIN of force plate {_numbers(turned)} runs from the surface to the sensors"
        yield untidy(f"{said}, against the convention; it was turned round")


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


def _units(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        if plate.unknown_unit:
            yield wrong(
                f"ANALOG:UNITS gives the forces of force plate {plate.number} in {plate.unknown_unit!r}, which is no "
                "known unit of force; they were taken for newtons"
            )
        words = [_word(unit) for unit in plate.units]
        for what, part in (("forces", _FORCES), ("moments", _MOMENTS)):
            own = words[part[plate.c3d_type]] if plate.c3d_type in part else []
            if len(named := dict.fromkeys(word for word in own if word)) > 1:
                yield wrong(
                    f"ANALOG:UNITS gives the {what} of force plate {plate.number} in {' and '.join(named)}; all of "
                    "them were read in one unit"
                )
            elif named and not all(own):
                yield untidy(
                    f"ANALOG:UNITS gives only some of the {what} of force plate {plate.number} a unit, "
                    f"{next(iter(named))}; all of them were read in it"
                )
    volts = [p for p in description.plates.plates if p.c3d_type != 4 and {_word(unit) for unit in p.units} & _VOLTS]
    if volts:
        yield untidy(
            f"ANALOG:UNITS gives channels of force plate {_numbers(volts)} in volts; scaled by ANALOG:SCALE they were "
            "taken for newtons"
        )


def _word(unit: str) -> str:
    """A unit without the marks that are written in it or not."""
    return re.sub(r"[\s.*·-]", "", unit.lower()).replace("newtons", "n").replace("newton", "n")


#: Type -> what its channels are, in order (C3D user guide); of type 4 the matrix may put them in another.
_ORDER = {
    1: ("fx", "fy", "fz"),
    2: ("fx", "fy", "fz", "mx", "my", "mz"),
    3: ("fx12", "fx34", "fy14", "fy23", "fz1", "fz2", "fz3", "fz4"),
}
#: A force or moment and its axis, with the digits behind it, where no other letter touches it.
_AXIS = re.compile(r"(?<![a-z])([fm])([xyz])(\d*)(?![a-z])")
_PLATE = re.compile(r"(?<![a-z])(?:p|fp|plate|force plate)[ _.]?(\d{1,2})(?!\d)")


def _labels(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        expected, named = _ORDER.get(plate.c3d_type, ()), Counter[str]()
        for place, label in enumerate(plate.labels):
            word = label.strip().lower()
            axes, of_plate = _AXIS.findall(word), _PLATE.findall(word)
            if len(of_plate) == 1:
                named[of_plate[0].lstrip("0")] += 1
            elif len(axes) == 1 and axes[0][2] and plate.c3d_type != 3:
                named[axes[0][2].lstrip("0")] += 1
            if len(axes) != 1 or place >= len(expected):
                continue
            is_axis, meant = "".join(axes[0][:2]), expected[place]
            # of type 3: which of its sensors, where the label says so; one that stands twice was typed wrongly
            sensors = "".join(axes[0]) if plate.labels.count(label) == 1 else ""
            if is_axis != meant[:2] or (plate.c3d_type == 3 and sensors in expected and sensors != meant):
                yield wrong(
                    f"Channel {place + 1} of force plate {plate.number} is {meant.capitalize()} by "
                    f"FORCE_PLATFORM:CHANNEL, and ANALOG:LABELS calls it {label!r}"
                )
        if len(named) > 1:
            yield wrong(
                f"FORCE_PLATFORM:CHANNEL gives force plate {plate.number} channels that ANALOG:LABELS calls those of "
                f"plates {' and '.join(sorted(named))}: {', '.join(plate.labels)}"
            )


def _zero(description: SelfDescription) -> Iterator[Said]:
    for plate in description.plates.plates:
        first, last = plate.zero_frames
        said = f"FORCE_PLATFORM:ZERO names frames {first} to {last}"
        if last == 0:  # some writers say (1, 0) for none, and some count from 0
            continue
        if not 0 <= first <= last <= description.read_as.frames:
            yield untidy(f"{said} of {description.read_as.frames}; nothing was subtracted")
            return
        if plate.zero_load > LOADED:
            yield untidy(
                f"{said}, in which force plate {plate.number} carries {100 * plate.zero_load:.0f} % of its largest "
                "force on average; nothing was subtracted, and other programs would take that off"
            )
            return


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
        ("FORCE_PLATFORM:ORIGIN", "FORCE_PLATFORM:TYPE", "POINT:UNITS"),
        "it is missing for a plate of type 2, 3 or 4, is no number, puts the sensors of a type 3 plate in its "
        "middle, or puts sensors less than 1 mm below the surface without saying 0",
        "it is (0, 0, 0)",
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
        "labels of a force plate's channels",
        ("FORCE_PLATFORM:CHANNEL", "ANALOG:LABELS"),
        "a label names another axis than its place does (types 1 to 3), or the labels of one plate name two plates",
        "",
        _labels,
    ),
    Rule(
        "units of a force plate",
        ("ANALOG:UNITS", "FORCE_PLATFORM:CHANNEL"),
        "two forces, or two moments, of one plate have different units, or the forces have one that is not known",
        "channels of a plate of type 1, 2 or 3 are in volts, or some of its forces or moments are without a unit",
        _units,
    ),
    Rule(
        "frames of the zero of a force plate",
        ("FORCE_PLATFORM:ZERO", "number of frames", "force in these frames"),
        "",
        "they are outside the recording, or the plate is loaded in them; nothing is subtracted",
        _zero,
    ),
    *CORNER_RULES,
)
