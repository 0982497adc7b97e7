"""How much later force tells of the same movement than markers do.

By Newton's second law the ground's force over body mass, less gravity, is the acceleration of the body's centre of
mass; the pelvis moves nearly as that does. The delay at which the two fit best does not depend on mass, gain or level,
nor on what a method of finding events takes for contact. In three real recordings whose clocks are said to agree it was
-4, -3 and +3 ms, in simulated ones 1 ms (correlations of 0.98 and more); events by markers lie 4 to 20 ms off.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipelines.science.events.ground import Ground
from pipelines.science.signals.filters import low_pass
from schemas.processing_signals import JointProcessing
from schemas.trial import UP, FloatArray, Trial

#: Own choices: what both are smoothed with, which keeps the step's rhythm and not the landing's shake; how far apart
#: they are looked for, and how finely; and how alike they must be to tell anything.
CUTOFF_HZ, FURTHEST_S, STEP_S, LEAST_LIKENESS = 8.0, 0.10, 0.005, 0.9


def lag_of_force(trial: Trial, ground: Ground, joints: JointProcessing, start_s: float, end_s: float) -> float | None:
    """Seconds by which force is later than the pelvis; negative where it is earlier. None where it cannot be told.

    joints: names the pelvis markers. start_s, end_s: of a run of contacts without a missing one. None without a marker
    in front and one at the back in every frame (their mean does not follow the pelvis's tilt, which alone was worth
    4 ms), or where the two are not alike at any delay looked for.
    """
    back = joints.pelvis_back_role, joints.pelvis_back_middle_role
    rate, height = trial.marker_rate_hz, _height(trial, (joints.pelvis_front_role,), back)
    if height is None or not rate > 0 or not len(ground.raw):
        return None
    clock = np.arange(len(height)) / rate
    inner = (clock > start_s + FURTHEST_S / 2) & (clock < end_s - FURTHEST_S / 2)
    if inner.sum() < rate * 0.3 or not np.isfinite(height).all():
        return None
    moved = np.gradient(np.gradient(low_pass(height, rate, CUTOFF_HZ)))[inner]
    force = low_pass(ground.raw[:, UP], ground.rate_hz, CUTOFF_HZ)
    delays = np.arange(-FURTHEST_S, FURTHEST_S + STEP_S / 2, STEP_S)
    at = clock[inner][:, None] + delays
    pushed = np.interp(at, np.arange(len(force)) / ground.rate_hz, force)
    likeness = _correlations(moved, pushed)
    best = int(np.nanargmax(likeness)) if np.isfinite(likeness).any() else 0
    if not 0 < best < len(delays) - 1 or likeness[best] < LEAST_LIKENESS:
        return None
    before, top, after = likeness[best - 1 : best + 2]
    bend = before - 2 * top + after
    return float(delays[best] + (STEP_S * (before - after) / (2 * bend) if bend < 0 else 0.0))


def _height(trial: Trial, *ends: Sequence[str]) -> FloatArray | None:
    """(frames,) m mean of the heights of the ends of the pelvis; None if one of them has no marker seen throughout."""
    heights = []
    for roles in ends:
        names = [name for role in roles for name in (role, f"{role}_left", f"{role}_right") if name in trial.markers]
        seen = [path for name in names if np.isfinite(path := trial.markers[name][:, UP]).all()]
        if not seen:
            return None
        heights.append(np.mean(seen, axis=0))
    return np.asarray(np.mean(heights, axis=0), float)


def _correlations(one: FloatArray, others: FloatArray) -> FloatArray:
    """(k,) of a signal (n,) with each column of (n, k); NaN where a column does not change."""
    one, others = one - one.mean(), others - others.mean(axis=0)
    size = np.linalg.norm(one) * np.linalg.norm(others, axis=0)
    found: FloatArray = np.divide(one @ others, size, out=np.full(len(size), np.nan), where=size > 0)
    return found
