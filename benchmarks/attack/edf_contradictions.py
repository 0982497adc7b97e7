"""What an EDF or EDF+ file says twice, read anew: which of its statements contradict each other. As
``contradictions`` of C3D files, nothing of the reader under attack is used.

Own reading of the EDF and EDF+ specifications (edfplus.info).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

_TIME = re.compile(rb"^([+-]\d+(?:\.\d+)?)[^\x14]*\x14")
#: s; a record that begins so much off the end of the one before it is somewhere else.
_APART_S = 0.005


def contradictions(content: bytes) -> set[str]:
    """Names of the statements that do not agree; empty for what is no EDF file at all."""
    try:
        return set(_found(content))
    except (ValueError, IndexError, OverflowError, ZeroDivisionError):
        return set()


def _found(content: bytes) -> Iterator[str]:
    count, records, duration = int(content[252:256]), int(content[236:244]), float(content[244:252])
    header = 256 * (count + 1)
    if int(content[184:192]) != header:
        yield "length of the header"

    def field(at: int, width: int, channel: int) -> bytes:
        start = 256 + at * count + width * channel
        return content[start : start + width].strip()

    samples = [int(field(216, 8, i)) for i in range(count)]
    labels = [field(0, 16, i) for i in range(count)]
    if header + records * 2 * sum(samples) != len(content):
        yield "size"
        return
    data = np.frombuffer(content, "<i2", offset=header).reshape(records, sum(samples))
    at, held = 0, {}
    for i, (label, n) in enumerate(zip(labels, samples, strict=True)):
        own = data[:, at : at + n]
        at += n
        if label == b"EDF Annotations":
            yield from _times(own, duration)
            continue
        low, high = int(field(120, 8, i)), int(field(128, 8, i))
        if low >= high or float(field(104, 8, i)) == float(field(112, 8, i)):
            yield "range"
        elif own.min() < low or own.max() > high:
            yield "samples outside their range"
        if label in held and not np.array_equal(held[label], own):
            yield "two channels of one name"
        held.setdefault(label, own)


def _times(annotations: np.ndarray, duration: float) -> Iterator[str]:
    before = None
    for number, record in enumerate(annotations):
        found = _TIME.match(record.tobytes())
        if not found:
            yield "record without a time"
            continue
        time = float(found[1])
        if before is not None and abs(time - before[1] - (number - before[0]) * duration) > _APART_S:
            yield "times of records"
        before = number, time
