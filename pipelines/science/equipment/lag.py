"""How much later force tells of the same movement than markers do.

By Newton's second law the ground's force over body mass, less gravity, is the acceleration of the body's centre of
mass; the pelvis moves nearly as that does. The delay at which the two fit best does not depend on mass, gain or level,
nor on what a method of finding events takes for contact. In three real recordings whose clocks are said to agree it was
-4, -3 and +3 ms, in simulated ones 1 ms (correlations of 0.98 and more); events by markers lie 4 to 20 ms off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.science.events.ground import Ground
from pipelines.science.signals.filters import low_pass
from schemas.mechanics import runs
from schemas.processing_joints import JointProcessing
from schemas.trial import UP, FloatArray, Trial

#: Own choices: what both are smoothed with, which keeps the step's rhythm and not the landing's shake; how far apart
#: they are looked for, less than half a step, beyond which the next step fits as well, and how finely; how alike they
#: must be to tell anything.
CUTOFF_HZ, FURTHEST_S, STEP_S, LEAST_LIKENESS = 8.0, 0.15, 0.005, 0.9
#: Own choice: at both ends of the contacts so much is not looked at.
EDGE_S = 0.05
#: Own choices: a line across a longer gap would hide a whole step, and a marker seen less tells little.
LONGEST_GAP_S, LEAST_SEEN = 0.25, 0.8
#: Standard uncertainties by what was found in the real recordings: -4 to +4 ms with markers in front and at the back,
#: -7 to +4 ms with one of them.
BOTH_ENDS_S, ONE_END_S = 0.002, 0.004


@dataclass(frozen=True)
class Lag:
    """By how much force is later than the pelvis, s, negative where it is earlier; and its standard uncertainty, s.

    likeness: correlation of the two with that delay taken out.
    """

    lag_s: float
    uncertainty_s: float
    likeness: float


def lag_of_force(trial: Trial, ground: Ground, joints: JointProcessing, start_s: float, end_s: float) -> Lag | None:
    """How much later force is than the pelvis. None where it cannot be told.

    joints: names the pelvis markers. start_s, end_s: of a run of contacts without a missing one. None without such
    markers that are well seen, or where the two are not alike at any delay looked for. With markers at one end of the
    pelvis only its tilt is taken for a movement of the whole, and the lag is less certain.
    """
    return (
        lag_of_vertical(trial, ground.raw[:, UP], ground.rate_hz, joints, start_s, end_s) if len(ground.raw) else None
    )


def lag_of_vertical(
    trial: Trial, vertical: FloatArray, rate_hz: float, joints: JointProcessing, start_s: float, end_s: float
) -> Lag | None:
    """The same of any signal (n,) that may be the vertical force, in any unit, upwards positive."""
    rate, heights = trial.marker_rate_hz, _ends(trial, joints)
    if not heights or not rate > 0:
        return None
    clock = np.arange(len(heights[0])) / rate
    inner = (clock > start_s + EDGE_S) & (clock < end_s - EDGE_S)
    if inner.sum() < rate * 0.3:
        return None
    moving, force = compared(heights, rate, vertical, rate_hz)
    moved = moving[inner]
    delays = np.arange(-FURTHEST_S, FURTHEST_S + STEP_S / 2, STEP_S)
    at = clock[inner][:, None] + delays
    pushed = np.interp(at, np.arange(len(force)) / rate_hz, force)
    likeness = _correlations(moved, pushed)
    best = int(np.nanargmax(likeness)) if np.isfinite(likeness).any() else 0
    if not 0 < best < len(delays) - 1 or likeness[best] < LEAST_LIKENESS:
        return None
    before, top, after = likeness[best - 1 : best + 2]
    bend = before - 2 * top + after
    lag = float(delays[best] + (STEP_S * (before - after) / (2 * bend) if bend < 0 else 0.0))
    return Lag(lag, BOTH_ENDS_S if len(heights) > 1 else ONE_END_S, float(top))


def compared(
    heights: Sequence[FloatArray], rate: float, vertical: FloatArray, rate_hz: float
) -> tuple[FloatArray, FloatArray]:
    """What is laid over each other: acceleration of the pelvis (frames,) m per frame squared, and the force (n,)."""
    moved = np.gradient(np.gradient(low_pass(np.mean(heights, axis=0), rate, CUTOFF_HZ)))
    return np.asarray(moved), low_pass(vertical, rate_hz, CUTOFF_HZ)


def moved_and_pushed(trial: Trial, ground: Ground, joints: JointProcessing) -> tuple[FloatArray, FloatArray] | None:
    """``compared`` of the trial's own pelvis and force; None without a pelvis that is well seen, or without force."""
    heights = _ends(trial, joints)
    if not heights or not len(heights[0]) > 0.3 * trial.marker_rate_hz > 0 or not len(ground.raw):
        return None
    return compared(heights, trial.marker_rate_hz, ground.raw[:, UP], ground.rate_hz)


def _ends(trial: Trial, joints: JointProcessing) -> list[FloatArray]:
    back = joints.pelvis_back_role, joints.pelvis_back_middle_role
    return _heights(trial, (joints.pelvis_front_role,), back)


def _heights(trial: Trial, *ends: Sequence[str]) -> list[FloatArray]:
    """(frames,) m mean height of each end of the pelvis that has a marker well seen."""
    heights = []
    for roles in ends:
        names = [name for role in roles for name in (role, f"{role}_left", f"{role}_right") if name in trial.markers]
        paths = [_without_gaps(trial.markers[name][:, UP], trial.marker_rate_hz) for name in names]
        if seen := [path for path in paths if path is not None]:
            heights.append(np.asarray(np.mean(seen, axis=0), float))
    return heights


def _without_gaps(height: FloatArray, rate_hz: float) -> FloatArray | None:
    """The height (frames,) with lines across its gaps; None if one is longer than ``LONGEST_GAP_S`` or many are."""
    known = np.isfinite(height)
    longest = max((b - a for a, b in runs(~known)), default=0)
    if longest > LONGEST_GAP_S * rate_hz or known.mean() < LEAST_SEEN:
        return None
    frames = np.arange(len(height))
    return np.asarray(np.interp(frames, frames[known], height[known]), float)


def _correlations(one: FloatArray, others: FloatArray) -> FloatArray:
    """(k,) of a signal (n,) with each column of (n, k); NaN where a column does not change."""
    one, others = one - one.mean(), others - others.mean(axis=0)
    size = np.linalg.norm(one) * np.linalg.norm(others, axis=0)
    found: FloatArray = np.divide(one @ others, size, out=np.full(len(size), np.nan), where=size > 0)
    return found
