"""When each data record of an EDF+ file says that it begins: the first annotation of its first annotation channel.

EDF+ specification (edfplus.info, 2.2.4): every data record begins with a time-keeping annotation; in a continuous file
(EDF+C) the records follow one another, in an interrupted one (EDF+D) they need not. Judged elsewhere.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from schemas.self_description import RecordStep

#: Onset, perhaps a duration, and the separators after them; the annotation's own text is empty.
_TIME = re.compile(rb"([+-]\d{1,12}(?:\.\d{1,20})?)(?:\x15\d+(?:\.\d*)?)?\x14")
#: Own choice: onsets are written with a limited number of digits, and a recorder may take them from another clock.
ROUNDING_S, CLOCKS_APART = 0.002, 0.001
MOST_STEPS = 10


@dataclass(frozen=True)
class RecordTimes:
    """untimed: records without a time. steps: the first places where a record does not follow the one before it."""

    untimed: int
    steps: tuple[RecordStep, ...]
    step_count: int


def record_times(
    path: Path, header: int, records: int, record_bytes: int, place: tuple[int, int], record_s: float
) -> RecordTimes:
    """header, record_bytes: sizes in bytes. place: first byte of the annotation channel in a record, and its length."""
    raw = np.memmap(path, np.uint8, "r", header, (records, record_bytes))[:, place[0] : place[0] + place[1]]
    onsets = np.full(records, np.nan)
    for i in range(records):
        found = _TIME.match(raw[i].tobytes())
        if found:
            onsets[i] = float(found[1])
    timed = np.flatnonzero(np.isfinite(onsets))
    steps = []
    if len(timed):
        since, last = timed[0], timed[0]
        for i in timed[1:]:
            follows = onsets[last] + (i - last) * record_s
            begun = onsets[since] + (i - since) * record_s
            jumped = abs(onsets[i] - follows) > ROUNDING_S + CLOCKS_APART * (i - last) * record_s
            crept = abs(onsets[i] - begun) > ROUNDING_S + CLOCKS_APART * (i - since) * record_s
            if jumped or crept:
                steps.append(RecordStep(int(i) + 1, float(follows), float(onsets[i])))
                since = i
            last = i
    return RecordTimes(records - len(timed), tuple(steps[:MOST_STEPS]), len(steps))
