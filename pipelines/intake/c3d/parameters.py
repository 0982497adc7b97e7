"""The parameter section of a C3D file: groups and their parameters, read within bounds for any processor.

Only the section's grammar lives here. What a parameter means for the data is in ``layout``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import prod
from typing import Any

import numpy as np

from pipelines.intake.c3d import numbers
from pipelines.intake.c3d.numbers import Processor
from schemas.self_description import Twin

KINDS = {-1: "text", 1: "byte", 2: "int", 4: "float"}
BLOCK = 512


@dataclass(frozen=True)
class Parameter:
    """One parameter. ``texts`` holds the rows of a text parameter, ``values`` the numbers of any other, flat.

    dims are as stored: the first one counts characters in a text parameter and varies fastest in every parameter.
    """

    name: str
    kind: str
    dims: tuple[int, ...]
    values: np.ndarray
    texts: tuple[str, ...] = ()

    @property
    def counts(self) -> np.ndarray:
        """Numbers that count something: 16-bit integers read as unsigned; not-a-number and the absurd as 0."""
        numbers_ = self.values.astype(float)
        numbers_ = np.where((numbers_ < 0) & (self.kind == "int"), numbers_ + 65536, numbers_)
        ok = np.isfinite(numbers_) & (numbers_ >= 0) & (numbers_ < 2**40)
        return np.where(ok, numbers_, 0).astype(np.int64)

    def holds_what(self, other: Parameter) -> bool:
        """Whether the other has the same content."""
        return self.texts == other.texts and np.array_equal(self.values, other.values)


@dataclass
class Section:
    """Groups by name, each with its parameters by name; names trimmed, upper case. oddities: plain sentences.

    repeated: groups and parameters ("GROUP:NAME") that stand in the section more than once; of a parameter the first
    counts, the parameters of a group are put together.
    """

    groups: dict[str, dict[str, Parameter]] = field(default_factory=dict)
    oddities: list[str] = field(default_factory=list)
    end: int = 0
    repeated: list[Twin] = field(default_factory=list)


def text_of(raw: bytes) -> str:
    """Text in the encodings C3D files are found in, without padding."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    return text.replace("\0", " ").strip()


def _printable(name: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in name)


class _Short(Exception):
    """A record runs over the end of the file."""


def read_section(data: bytes, start: int, processor: Processor, data_start: int) -> Section:
    """Follow the chain of records from byte ``start`` (after the section's own four bytes) to its end.

    No record is looked for at or after ``data_start``, the first byte of the measured data, when that lies after
    ``start``: some writers leave out the end mark, and measured numbers then look like parameters.
    """
    section = Section()
    names: dict[int, str] = {}
    waiting: dict[int, list[Parameter]] = {}
    position = start
    limit = data_start if data_start > start else len(data)
    while True:
        if position >= limit:
            section.oddities.append(
                "the parameter section runs into the measured data; its last text may be garbled"
                if position > limit
                else "the parameter section has no end mark before the measured data begins"
            )
            break
        try:
            following = _record(data, position, processor, section, names, waiting)
        except _Short:
            section.oddities.append("the parameter section breaks off before its end mark")
            break
        if following is None:
            break
        if following <= position:
            section.oddities.append("a parameter record points back to an earlier one; reading stopped there")
            break
        position = following
    section.end = position
    _settle(section, names, waiting)
    return section


def _settle(section: Section, names: dict[int, str], waiting: dict[int, list[Parameter]]) -> None:
    """Put every parameter into its group, wherever in the file the group was defined."""
    for number, parameters in waiting.items():
        name = names.get(number)
        if name is None:
            name = f"GROUP {number}"
            many = "parameter belongs" if len(parameters) == 1 else "parameters belong"
            section.oddities.append(f"{len(parameters)} {many} to group {number}, which is not defined")
        group = section.groups.setdefault(name, {})
        for parameter in parameters:
            first = group.setdefault(parameter.name, parameter)
            if first is not parameter:
                place = f"{_printable(name)}:{_printable(parameter.name)}"
                section.repeated.append(Twin("parameter", place, 2, first.holds_what(parameter)))


def _record(
    data: bytes,
    position: int,
    processor: Processor,
    section: Section,
    names: dict[int, str],
    waiting: dict[int, list[Parameter]],
) -> int | None:
    """Read one record; return where the next one starts, or None after the last."""
    if position + 2 > len(data):
        raise _Short
    name_length, group = np.frombuffer(data, "i1", 2, position).tolist()
    if name_length == 0 or group == 0:
        return None
    at = position + 2 + abs(name_length)
    name = text_of(_take(data, position + 2, abs(name_length))).upper()
    offset = int(numbers.int16(_take(data, at, 2), processor).view(np.uint16)[0])
    end = at + 2
    if group < 0:
        before = names.get(-group, name)
        if before != name:
            both = (_printable(before), _printable(name))
            section.repeated.append(Twin("group number", str(-group), 2, alike=False, spellings=both))
        elif name in names.values():
            section.repeated.append(Twin("group", _printable(name), 2, alike=False))
        names[-group] = name
        section.groups.setdefault(name, {})
    else:
        parameter, end = _parameter(data, at + 2, processor, name)
        if not name.isprintable():
            section.oddities.append("a parameter's name holds characters that cannot be printed")
        if parameter is None:
            section.oddities.append(f"parameter {_printable(name)} has a form that C3D does not know; it was left out")
        else:
            waiting.setdefault(group, []).append(parameter)
    end += 1 + _take(data, end, 1)[0]  # the description
    if offset and at + offset != end:
        section.oddities.append("a record of the parameter section is longer or shorter than its content")
    return at + offset if offset else None


def _parameter(data: bytes, at: int, processor: Processor, name: str) -> tuple[Parameter | None, int]:
    """One parameter, None if its form is not known, and the byte after its content."""
    size, dimensions = np.frombuffer(_take(data, at, 2), "i1").tolist()
    if size not in KINDS or not 0 <= dimensions <= 7:
        return None, at + 2
    dims = tuple(_take(data, at + 2, dimensions))
    raw = _take(data, at + 2 + dimensions, abs(size) * prod(dims))
    end = at + 2 + dimensions + len(raw)
    kind = KINDS[size]
    if kind == "text":
        width = dims[0] if dims else 1
        rows = [text_of(raw[i : i + width]) for i in range(0, len(raw), width)] if width else []
        return Parameter(name, kind, dims, np.empty(0), tuple(rows)), end
    values: Any
    if kind == "byte":
        values = np.frombuffer(raw, "u1")
    elif kind == "int":
        values = numbers.int16(raw, processor)
    else:
        values = numbers.float32(raw, processor)
    return Parameter(name, kind, dims, values), end


def _take(data: bytes, at: int, length: int) -> bytes:
    if at + length > len(data):
        raise _Short
    return data[at : at + length]
