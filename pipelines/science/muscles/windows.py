"""The parts of a stride that muscle outcomes are told for. Where the events come from is the matter of ``events``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from pipelines.science.frames import Rows
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray


@dataclass(frozen=True)
class Step:
    """One footfall of one side, times in s on the trial's clock.

    toe_off_before_s: end of the recorded contact of this foot before; None if there is none. next_contact_s: the next
    contact of this foot; None where it is not recorded.
    """

    footfall_number: int
    contact_s: float
    toe_off_s: float
    toe_off_before_s: float | None
    next_contact_s: float | None


def steps_of(footfalls: Rows, side: str) -> list[Step]:
    """The footfalls of one side in order of time, from rows of the ``footfalls`` table."""
    steps: list[Step] = []
    own = [row for row in footfalls.records if row["side"] == side and isfinite(row["contact_s"] + row["toe_off_s"])]
    for row in sorted(own, key=lambda row: row["contact_s"]):
        contact, toe_off, stride = (row[name] for name in ("contact_s", "toe_off_s", "stride_time_s"))
        before = steps[-1].toe_off_s if steps else None
        following = contact + stride if isfinite(stride) else None
        steps.append(Step(int(row["footfall_number"]), contact, toe_off, before, following))
    return steps


def windows_of(step: Step, processing: MuscleProcessing) -> Iterator[tuple[str, float, float]]:
    """Name, start and end in s of each window of ``codes.ANALYSIS_WINDOW`` that this footfall has.

    Swing ends where the next pre-contact window starts, so that no moment of a stride counts twice; it is left out
    where the next contact of the foot is not recorded or comes too soon.
    """
    loaded = step.contact_s + processing.loading_fraction * (step.toe_off_s - step.contact_s)
    yield "pre_contact", step.contact_s - processing.pre_contact_s, step.contact_s
    yield "loading", step.contact_s, loaded
    yield "push_off", loaded, step.toe_off_s
    if step.next_contact_s is not None and step.next_contact_s - processing.pre_contact_s > step.toe_off_s:
        yield "swing", step.toe_off_s, step.next_contact_s - processing.pre_contact_s


@dataclass(frozen=True)
class Windows:
    """All windows of one side's footfalls, in order: whose footfall's each is, its name, its start and end in s."""

    footfall_numbers: list[int]
    names: list[str]
    start_s: FloatArray
    end_s: FloatArray

    @classmethod
    def of(cls, steps: Iterable[Step], processing: MuscleProcessing) -> Windows:
        """Those of ``windows_of`` for each step."""
        numbers: list[int] = []
        names: list[str] = []
        times: list[tuple[float, float]] = []
        for step in steps:
            for name, start_s, end_s in windows_of(step, processing):
                numbers.append(step.footfall_number)
                names.append(name)
                times.append((start_s, end_s))
        edges = np.array(times, float).reshape(-1, 2)
        return cls(numbers, names, edges[:, 0], edges[:, 1])

    def kept(self, which: NDArray[np.bool_]) -> Windows:
        """Those of them that are marked."""
        places = np.flatnonzero(which)
        numbers, names = [self.footfall_numbers[i] for i in places], [self.names[i] for i in places]
        return Windows(numbers, names, self.start_s[places], self.end_s[places])
