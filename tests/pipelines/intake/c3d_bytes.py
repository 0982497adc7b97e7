"""Writes small C3D files of any processor and storage from plain arrays, for tests of reading.

Written from the format's public description, apart from the code under test: numbers are packed one by one here.
"""

from __future__ import annotations

import math
import struct

import numpy as np

PROCESSOR_BYTES = {"INTEL": 84, "DEC": 85, "MIPS": 86}


def pack_int(value: int, processor: str) -> bytes:
    return struct.pack(">H" if processor == "MIPS" else "<H", int(value) & 0xFFFF)


def pack_float(value: float, processor: str) -> bytes:
    if processor == "MIPS":
        return struct.pack(">f", value)
    if processor == "INTEL":
        return struct.pack("<f", value)
    if value == 0:
        return b"\0\0\0\0"
    fraction, exponent = math.frexp(abs(value))  # 0.5 <= fraction < 1, as in the VAX F format
    bits = (int(value < 0) << 31) | ((exponent + 128) << 23) | (round(fraction * 2**24) & 0x7FFFFF)
    return struct.pack("<HH", bits >> 16, bits & 0xFFFF)


def record(group: int, name: str, processor: str, kind: int, dims: tuple[int, ...], payload: bytes) -> bytes:
    body = struct.pack("bB", kind, len(dims)) + bytes(dims) + payload + b"\0"
    head = struct.pack("bb", len(name), group) + name.encode()
    return head + pack_int(len(body) + 2, processor) + body


def group_record(group: int, name: str, processor: str) -> bytes:
    return struct.pack("bb", len(name), -group) + name.encode() + pack_int(3, processor) + b"\0"


def parameter(group: int, name: str, processor: str, value, dims: tuple[int, ...] | None = None) -> bytes:
    """A text list, a list of floats (any float in it) or of 16-bit integers."""
    values = value if isinstance(value, list) else [value]
    if all(isinstance(v, str) for v in values):
        width = max([len(v.encode()) for v in values] + [1])
        payload = b"".join(v.encode().ljust(width) for v in values)
        return record(group, name, processor, -1, (width, len(values)), payload)
    if any(isinstance(v, float) for v in values):
        payload = b"".join(pack_float(v, processor) for v in values)
        return record(group, name, processor, 4, dims or (len(values),), payload)
    return record(group, name, processor, 2, dims or (len(values),), b"".join(pack_int(v, processor) for v in values))


def c3d_bytes(
    points: np.ndarray,
    analog: np.ndarray,
    *,
    processor: str = "INTEL",
    storage: str = "float",
    scale: float = 0.1,
    point_rate: float = 100.0,
    samples_per_frame: int = 2,
    residuals: np.ndarray | None = None,
    offset: list[int] | None = None,
    analog_scale: list[float] | None = None,
    general_scale: float = 1.0,
    extra: dict[str, dict] | None = None,
    leave_out: tuple[str, ...] = (),
    header: dict[int, int] | None = None,
) -> bytes:
    """points: (frames, n, 3) as stored for floats, in steps of ``scale`` for integers. analog: raw (samples, channels).

    extra: group -> name -> value or (value, dims), replacing what is there. header: word number (from 1) -> value.
    """
    frames, count, _ = points.shape
    channels = analog.shape[1]
    residuals = np.zeros((frames, count), int) if residuals is None else residuals
    sign = -1.0 if storage == "float" else 1.0
    groups: dict[str, dict] = {
        "POINT": {
            "USED": count,
            "FRAMES": frames,
            "SCALE": sign * scale,
            "RATE": point_rate,
            "UNITS": ["mm"],
            "LABELS": [f"P{i + 1}" for i in range(min(count, 255))],
            "DATA_START": 0,
        },
        "ANALOG": {
            "USED": channels,
            "LABELS": [f"A{i + 1}" for i in range(channels)] or [""],
            "UNITS": ["N"] * channels or [""],
            "SCALE": analog_scale or [1.0] * channels,
            "OFFSET": offset or [0] * channels,
            "GEN_SCALE": float(general_scale),
            "RATE": point_rate * samples_per_frame,
        },
        "FORCE_PLATFORM": {"USED": 0},
    }
    for group, values in (extra or {}).items():
        groups.setdefault(group, {}).update(values)
    blocks = 1
    for _ in range(2):  # the second time with the right data start
        groups["POINT"]["DATA_START"] = (extra or {}).get("POINT", {}).get("DATA_START", blocks + 2)
        section = b"".join(group_record(i + 1, name, processor) for i, name in enumerate(groups))
        for i, (group, values) in enumerate(groups.items()):
            for name, value in values.items():
                if f"{group}:{name}" not in leave_out:
                    value, dims = value if isinstance(value, tuple) else (value, None)
                    section += parameter(i + 1, name, processor, value, dims)
        section = section + b"\0\0"
        blocks = -(-(len(section) + 4) // 512)
    section = bytes([1, 80, blocks, PROCESSOR_BYTES[processor]]) + section
    words = {
        2: count,
        3: channels * samples_per_frame,
        4: 1,
        5: frames,
        9: blocks + 2,
        10: samples_per_frame if channels else 0,
    } | (header or {})
    first = bytearray(512)
    first[0:2] = bytes([2, 80])
    first[12:16] = pack_float(sign * scale, processor)
    first[20:24] = pack_float(point_rate, processor)
    for word, value in words.items():
        first[2 * word - 2 : 2 * word] = pack_int(value, processor)
    data = _data(points, residuals, analog, processor, storage, samples_per_frame)
    whole = bytes(first) + section.ljust(512 * blocks, b"\0") + data
    return whole + b"\0" * (-len(whole) % 512)


def _data(points, residuals, analog, processor, storage, samples_per_frame) -> bytes:
    four = np.concatenate([points, residuals[:, :, None]], axis=2).reshape(len(points), -1)
    rows = np.hstack([four, analog.reshape(len(points), samples_per_frame * analog.shape[1])])
    if storage == "int":
        return rows.astype(int).astype(">i2" if processor == "MIPS" else "<i2").tobytes()
    if processor == "DEC":
        return b"".join(pack_float(float(v), processor) for v in rows.ravel())
    return rows.astype(">f4" if processor == "MIPS" else "<f4").tobytes()
