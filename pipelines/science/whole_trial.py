"""What footfalls of a trial say only together: how unlike the sides are, how the values vary, what a kilometre loads.

Each is a value with the standard uncertainty that so few footfalls of such scatter leave; what the equipment adds is in
``uncertainties``. Names are those of ``trial_outcomes``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.science.events.from_force import SIDES
from pipelines.science.frames import Rows
from pipelines.science.joints.loading import TENDON
from schemas.outcomes_of_trials import OF_SIDES, OF_SPREAD
from schemas.trial import FloatArray

#: Own choices: a side with fewer has no scatter that could be known; with so many degrees of freedom a standard
#: deviation is known to a quarter of itself.
FEWEST_OF_A_SIDE, FEWEST_FREE = 2, 8

_PER_KM = ("step_length_m",)
#: Load of a kilometre -> the outcomes of footfalls that it is in proportion to, or to one over.
MADE_OF = {
    "footfalls_per_km": _PER_KM,
    "impacts_per_km": _PER_KM,
    "impact_peaks_bw_per_km": (*_PER_KM, "impact_peak_bw"),
    "active_peaks_bw_per_km": (*_PER_KM, "active_peak_bw"),
    "achilles_impulse_bw_s_per_km": (*_PER_KM, f"ankle/sagittal/segment/{TENDON[1]}"),
}


@dataclass(frozen=True)
class Value:
    """A value, its standard uncertainty by scatter, and the footfalls it rests on. NaN where it is not known."""

    value: float = math.nan
    off: float = math.nan
    count: int = 0


def whole_trial(footfalls: Rows, joints: Rows) -> dict[str, Value]:
    """Column of ``trial_outcomes`` -> value. footfalls, joints: ``footfalls`` and ``footfall_joints`` of the trial."""
    found = {column: asymmetry(*_sides(footfalls, name)) for column, name in OF_SIDES.items()}
    found |= {column: variability(*_sides(footfalls, name)) for column, name in OF_SPREAD.items()}
    steps = _mean(*_sides(footfalls, "step_length_m"))
    per_km = _over(1000.0, steps)
    found["footfalls_per_km"] = per_km
    impacts = np.isfinite(footfalls.numbers("impact_peak_bw"))
    known = np.isfinite(footfalls.numbers("active_peak_bw"))
    found["impacts_per_km"] = struck = _times(per_km, _share(impacts[known]))
    tendon = _of_joint(joints, footfalls, "ankle", TENDON[1])
    peaks = {name: _mean(*_sides(footfalls, name)) for name in ("impact_peak_bw", "active_peak_bw")}
    found["impact_peaks_bw_per_km"] = struck if struck.value == 0 else _times(struck, peaks["impact_peak_bw"])
    found["active_peaks_bw_per_km"] = _times(per_km, peaks["active_peak_bw"])
    found["achilles_impulse_bw_s_per_km"] = _times(per_km, _mean(*_parted(footfalls, tendon)))
    return found


def asymmetry(left: FloatArray, right: FloatArray) -> Value:
    """Symmetry index in %: difference of the sides' means over the mean of both, whichever is larger.

    |R - L| / ((|R| + |L|) / 2) x 100 (Robinson, Herzog & Nigg 1987, J Manipulative Physiol Ther 10:172, from memory,
    who keep the sign), so that runners with a stronger left and a stronger right leg do not cancel. It is never below
    0, so that with few footfalls scatter alone makes it larger than it is.
    """
    if min(len(left), len(right)) < FEWEST_OF_A_SIDE:
        return Value()
    a, b = abs(float(left.mean())), abs(float(right.mean()))
    if not a + b > 0:
        return Value()
    off = 400 / (a + b) ** 2 * np.hypot(b * _error(left), a * _error(right))
    return Value(200 * abs(b - a) / (a + b), float(off), len(left) + len(right))


def variability(left: FloatArray, right: FloatArray) -> Value:
    """Standard deviation from footfall to footfall of the same side, both sides pooled; unit of the values.

    Its own uncertainty is s / (2 n)^(1/2) with n degrees of freedom, for normal scatter (JCGM 100:2008, E.4.3, from
    memory).
    """
    free = sum(max(len(one) - 1, 0) for one in (left, right))
    if free < FEWEST_FREE:
        return Value()
    squares = sum(float(((one - one.mean()) ** 2).sum()) for one in (left, right) if len(one))
    spread = math.sqrt(squares / free)
    return Value(spread, spread / math.sqrt(2 * free), len(left) + len(right))


def _mean(left: FloatArray, right: FloatArray) -> Value:
    """Mean of the sides' means, so that both count alike; of one side alone where the other has no value."""
    sides = [one for one in (left, right) if len(one)]
    if not sides:
        return Value()
    off = math.hypot(*(_error(one) for one in sides)) / len(sides)
    return Value(float(np.mean([one.mean() for one in sides])), off, sum(map(len, sides)))


def _error(values: FloatArray) -> float:
    return float(values.std(ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else math.nan


def _share(there: NDArray[np.bool_]) -> Value:
    """Part that is true; of few that are all alike it is not sure, so that its scatter is that of one more of each."""
    count, true = len(there), int(there.sum())
    if not count:
        return Value()
    likely = (true + 1) / (count + 2)
    return Value(true / count, math.sqrt(likely * (1 - likely) / count), count)


def _over(number: float, value: Value) -> Value:
    if not value.value > 0:
        return Value()
    return Value(number / value.value, number * value.off / value.value**2, value.count)


def _times(one: Value, other: Value) -> Value:
    off = math.hypot(one.value * other.off, other.value * one.off)
    return Value(one.value * other.value, off, min(one.count, other.count))


def _sides(footfalls: Rows, name: str) -> tuple[FloatArray, FloatArray]:
    return _parted(footfalls, footfalls.numbers(name))


def _parted(footfalls: Rows, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    side, known = np.array(footfalls.columns["side"], object), np.isfinite(values)
    left, right = (values[known & (side == one)] for one in SIDES)
    return left, right


def _of_joint(joints: Rows, footfalls: Rows, joint: str, column: str) -> FloatArray:
    """(footfalls,) a column of the sagittal rows of a joint; NaN for footfalls without one."""
    own: Mapping[int, float] = {
        row["footfall_number"]: row[column]
        for row in joints.records
        if row["joint"] == joint and row["plane"] == "sagittal"
    }
    return np.array([own.get(number, math.nan) for number in footfalls.columns["footfall_number"]], float)
