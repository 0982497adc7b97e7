"""The first 512 bytes of a C3D file. Word numbers are those of the public C3D user guide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.intake.c3d import numbers
from pipelines.intake.c3d.numbers import PROCESSORS, Processor
from pipelines.intake.c3d.parameters import BLOCK, text_of
from pipelines.intake.c3d.problem import C3dProblem
from schemas.self_description import HeaderSays

EVENT_LABELS_KEY = 12345


@dataclass(frozen=True)
class Header(HeaderSays):
    """What the header says, and where to read on; nothing is checked against the rest of the file here."""

    processor: Processor
    parameter_start: int  # byte of the first parameter record
    events: tuple[tuple[float, str], ...]  # seconds, label


def read_header(data: bytes) -> Header:
    """Parse the header. Raises C3dProblem when this is no C3D file or its parameter section cannot be found."""
    if len(data) < 2 * BLOCK:
        raise C3dProblem(f"the file holds {len(data)} bytes; the smallest C3D file holds {2 * BLOCK}")
    if data[1] != 80:
        raise C3dProblem(f"the second byte is {data[1]}; every C3D file has 80 there, so this is no C3D file")
    start = (data[0] - 1) * BLOCK
    if data[0] < 2 or start + 4 > len(data):
        raise C3dProblem(f"the header points to a parameter section in block {data[0]}, which is not in the file")
    if data[start + 3] not in PROCESSORS:
        raise C3dProblem(
            f"the parameter section in block {data[0]} names processor type {data[start + 3]}; C3D knows 84, 85 and 86"
        )
    processor = PROCESSORS[data[start + 3]]
    words = numbers.int16(data[:BLOCK], processor).view(np.uint16)
    floats = numbers.float32(data[:BLOCK], processor)  # every float of the header starts at an even byte of four
    return Header(
        processor=processor,
        parameter_start=start + 4,
        points=int(words[1]),
        analog_per_frame=int(words[2]),
        first_frame=int(words[3]),
        last_frame=int(words[4]),
        scale=float(floats[3]),
        data_block=int(words[8]),
        samples_per_frame=int(words[9]),
        rate_hz=float(floats[5]),
        events=_events(data, words, floats),
    )


def _events(data: bytes, words: np.ndarray, floats: np.ndarray) -> tuple[tuple[float, str], ...]:
    """Up to 18 events with labels of four characters, kept when word 150 holds its key."""
    count = min(int(words[150]), 18)
    if words[149] != EVENT_LABELS_KEY:
        return ()
    times = floats[76 : 76 + count]  # words 153 to 188
    labels = [text_of(data[396 + 4 * i : 400 + 4 * i]) for i in range(count)]  # words 199 to 234
    return tuple((float(t), label) for t, label in zip(times, labels, strict=True))
