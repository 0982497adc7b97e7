"""Whether a damaged C3D or EDF+ file that still reads gives other values, contradicts itself, and is told.

Values are what is decoded: positions, analog samples, rates, and the forces of the plates; of a second file its
channels with their rates. A file is told when a check of its self-description says something that it does not say of
the sound file; ``returned`` when that sends the trial back.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np

from benchmarks.attack import contradictions as c3d
from benchmarks.attack import edf_contradictions as edf
from checks.registry import Weight
from pipelines.workers.problem import FileProblem

Fate = Literal["refused", "same values", "agrees with itself", "returned", "noted", "silent"]
Values = tuple[np.ndarray, ...]
Told = frozenset[tuple[Weight, str]]


def silence(target: str, content: bytes, sound: bytes) -> Fate | None:
    """What became of one mutant of ``sound``; None of a target that is not looked at.

    ``agrees with itself``: other values, and no statement shows it.
    """
    if target not in LOOKED_AT:
        return None
    read, contradictions = LOOKED_AT[target]
    try:
        values, told = read(content)
    except FileProblem:
        return "refused"
    sound_values, usual = _sound(target, sound)
    if _equal(values, sound_values):
        return "same values"
    if not contradictions(content) - contradictions(sound):
        return "agrees with itself"
    new = {weight for weight, _ in told - usual}
    return "returned" if Weight.RETURNS in new else "noted" if new else "silent"


@lru_cache(maxsize=80)
def _sound(target: str, content: bytes) -> tuple[Values, Told]:
    return LOOKED_AT[target][0](content)


def _read_c3d(content: bytes) -> tuple[Values, Told]:
    """The values, and all that is said of the file, each with its weight."""
    from checks.self_description import name_rules
    from checks.self_description.agreement import contradictions_in
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.intake.plates import force_and_moment_in_lab
    from pipelines.intake.units import metres_per_unit

    with tempfile.TemporaryDirectory(prefix="manystrides-silent-") as folder:
        path = Path(folder) / "mutant.c3d"
        path.write_bytes(content)
        recording = read_c3d(path)
    metre = metres_per_unit(recording.layout.point_unit) or 1.0
    with np.errstate(all="ignore"):
        forces = [
            part
            for spec in recording.plates
            if not spec.problem and len(recording.analog)
            for part in force_and_moment_in_lab(recording, spec, metre)
        ]
    rates = np.array([recording.layout.point_rate_hz, recording.layout.analog_rate_hz or 0.0])
    told = {(found.weight, found.said) for found in contradictions_in(recording.description)}
    told |= {(found.weight, found.said) for found in name_rules.contradictions(recording.description.twins, (), ())}
    told |= {(Weight.NOTES, oddity) for oddity in recording.oddities}
    return (recording.points, recording.analog, rates, *forces), frozenset(told)


def _read_edf(content: bytes) -> tuple[Values, Told]:
    """The same of a second file, all of whose channels are asked for by name."""
    from checks.self_description import name_rules, second_file_rules
    from pipelines.intake.sidecar import read_sidecar

    with tempfile.TemporaryDirectory(prefix="manystrides-silent-") as folder:
        path = Path(folder) / "mutant.edf"
        path.write_bytes(content)
        sidecar = read_sidecar(path)
    told = {(Weight.RETURNS, said) for said in second_file_rules.said_of(sidecar.says)}
    labels = [channel.label for channel in sidecar.channels]
    told |= {(found.weight, found.said) for found in name_rules.contradictions(sidecar.says.twins, (), labels)}
    rates = np.array([channel.rate_hz for channel in sidecar.channels])
    return (rates, *(channel.samples for channel in sidecar.channels)), frozenset(told)


#: What is looked at: how its values are read, and an own reading of what it says twice.
LOOKED_AT: dict[str, tuple[Callable[[bytes], tuple[Values, Told]], Callable[[bytes], set[str]]]] = {
    "c3d": (_read_c3d, c3d.contradictions),
    "edf": (_read_edf, edf.contradictions),
}


def _equal(one: Values, other: Values) -> bool:
    return len(one) == len(other) and all(np.array_equal(a, b, equal_nan=True) for a, b in zip(one, other, strict=True))
