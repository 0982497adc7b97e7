"""Changes single statements of a finished C3D file (Intel), so that it says two things about itself."""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence

from demo_site_uploads.simulator.c3d_writer import parameter_at

_FORMS = {1: "<{}B", 2: "<{}H", 4: "<{}f"}


def parameter(content: bytes, group: str, name: str) -> tuple[float, ...]:
    """The numbers of a parameter; integers of 16 bits as unsigned."""
    place, size, count = parameter_at(content, group, name)
    return struct.unpack_from(_FORMS[size].format(count), content, place)


def with_parameter(content: bytes, group: str, name: str, values: Sequence[float]) -> bytes:
    """The file with the first numbers of a parameter replaced; they keep their type."""
    place, size, _ = parameter_at(content, group, name)
    whole = [v if size == 4 else int(v) for v in values]
    packed = struct.pack(_FORMS[size].format(len(whole)), *whole)
    return content[:place] + packed + content[place + len(packed) :]


def scaled(content: bytes, group: str, name: str, factor: float) -> bytes:
    """The file with all numbers of a parameter multiplied."""
    return with_parameter(content, group, name, [factor * v for v in parameter(content, group, name)])


def renamed(content: bytes, group: str, name: str, other: str) -> bytes:
    """The file with a parameter under another name of the same length, which readers do not look for."""
    assert len(name) == len(other)
    place, _, _ = parameter_at(content, group, name)
    at = content.rindex(name.encode("ascii"), 0, place)
    return content[:at] + other.encode("ascii") + content[at + len(name) :]


def header_word(content: bytes, word: int) -> int:
    """A word of the header, from 1."""
    (value,) = struct.unpack_from("<H", content, 2 * word - 2)
    return int(value)


def with_header_word(content: bytes, word: int, value: int) -> bytes:
    """The file with one word of the header replaced."""
    return content[: 2 * word - 2] + struct.pack("<H", value) + content[2 * word :]


def with_header_float(content: bytes, word: int, change: Callable[[float], float]) -> bytes:
    """The file with a float of the header changed. word: its first, 7 for the scale, 11 for the rate."""
    (value,) = struct.unpack_from("<f", content, 2 * word - 2)
    return content[: 2 * word - 2] + struct.pack("<f", change(value)) + content[2 * word + 2 :]
