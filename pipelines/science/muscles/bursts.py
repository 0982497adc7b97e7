"""When a muscle is active: bursts by threshold, with and without the Teager-Kaiser energy operator, and the baseline.

When a burst begins, by several detectors and how surely, is in ``onsets``; amplitudes are in ``amplitudes``. A burst's
start and end are samples, not interpolated.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.science.muscles.signal import Conditioned
from pipelines.science.muscles.windows import Step
from pipelines.science.signals.spans import means_over
from schemas.mechanics import runs
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray

METHODS = ("threshold", "energy_operator")
#: Where the middle of a burst's area may lie: before contact, or between contact and toe-off.
PLACES = ("pre_contact", "stance")
Spell = tuple[int, int]


@dataclass(frozen=True)
class Activity:
    """What one method sees. curve: (n,) the smoothed rectified signal or operator. spells: first and last sample."""

    curve: FloatArray
    threshold: float
    spells: tuple[Spell, ...]


def teager_kaiser(samples: FloatArray) -> FloatArray:
    """Energy operator x[i]^2 - x[i-1] x[i+1] of (n,) samples, in their unit squared; the ends repeat their neighbour.

    For A cos(w i + p) it is A^2 sin^2(w) everywhere (Kaiser 1990; for muscle onset Li, Zhou & Aruin 2007).
    NaN beside a missing sample, and for fewer than three samples.
    """
    energy = np.full(len(samples), np.nan)
    if len(samples) >= 3:
        energy[1:-1] = samples[1:-1] ** 2 - samples[:-2] * samples[2:]
        energy[[0, -1]] = energy[[1, -2]]
    return energy


def spells_above(samples: FloatArray, threshold: float, shortest: int = 1, longest_pause: int = 0) -> tuple[Spell, ...]:
    """First and last sample of each spell at or above ``threshold``, in order.

    Pauses of up to ``longest_pause`` samples are closed first, then spells of fewer than ``shortest`` samples are
    dropped. A pause in which a sample is missing stays open: nobody knows what happened there.
    """
    with np.errstate(invalid="ignore"):
        above = runs(samples >= threshold)
    closed: list[tuple[int, int]] = []
    for start, stop in above:
        if closed and start - closed[-1][1] <= longest_pause and np.isfinite(samples[closed[-1][1] : start]).all():
            closed[-1] = (closed[-1][0], stop)
        else:
            closed.append((start, stop))
    return tuple((start, stop - 1) for start, stop in closed if stop - start >= shortest)


def baseline_of(muscle: Conditioned, processing: MuscleProcessing) -> NDArray[np.bool_]:
    """Which samples (n,) are baseline: those of the quietest windows of the recording, by root mean square.

    Windows of ``baseline_window_s`` start every half window; the quietest ``baseline_fraction`` of those that are
    wholly recorded count, and at least one. So a runner need not stand still first, but a muscle that is never quiet
    has no true baseline. Choosing the quietest makes the baseline a little too low; the tests state by how much.
    """
    mask = np.zeros(len(muscle.samples), bool)
    if muscle.problem:
        return mask
    length = max(round(processing.baseline_window_s * muscle.rate_hz), 1)
    starts = np.arange(0, len(mask) - length + 1, max(length // 2, 1))
    power = means_over(muscle.samples**2, np.stack([starts, starts + length], axis=1))
    known = np.flatnonzero(np.isfinite(power))
    if len(known):
        count = max(int(np.ceil(processing.baseline_fraction * len(known))), 1)
        for start in starts[known[np.argsort(power[known], kind="stable")][:count]]:
            mask[start : start + length] = True
    return mask


def rectified(muscle: Conditioned, method: str) -> FloatArray:
    """(n,) size of the band-passed signal, or of its energy operator, by one of ``METHODS``."""
    return np.abs(teager_kaiser(muscle.samples) if method == "energy_operator" else muscle.samples)


def activity(
    muscle: Conditioned,
    curve: FloatArray,
    baseline: NDArray[np.bool_],
    method: str,
    processing: MuscleProcessing,
) -> Activity:
    """Spells in which the muscle is active by one of ``METHODS``: at or above baseline mean plus k standard deviations.

    curve: (n,) what ``rectified`` gives, low-passed with zero lag at ``onset_cutoff_hz``; mean and standard deviation
    are those of this curve over ``baseline``. No spells if the baseline is unknown.
    """
    quiet = curve[baseline & np.isfinite(curve)]
    if len(quiet) < 2:
        return Activity(curve, float("nan"), ())
    factor = processing.operator_threshold_sd if method == "energy_operator" else processing.threshold_sd
    threshold = float(quiet.mean() + factor * quiet.std(ddof=1))
    lengths = (round(at_s * muscle.rate_hz) for at_s in (processing.shortest_burst_s, processing.longest_pause_s))
    return Activity(curve, threshold, spells_above(curve, threshold, *lengths))


def bursts_of(
    muscle: Conditioned, found: Activity, steps: Iterable[Step], processing: MuscleProcessing
) -> list[dict[str, Spell | None]]:
    """For each step the burst of each of ``PLACES``: the spell with the largest area whose middle lies there.

    The middle is that of the area under the curve. Before contact it is looked for since ``burst_search_s`` before, and
    since the toe-off before. So a burst that begins before contact and does its work in stance is a stance burst in
    every stride, however its beginning scatters about contact, and a muscle with two bursts has both.
    """
    spells = np.array(found.spells, int).reshape(-1, 2)
    curve = np.nan_to_num(found.curve)
    sums = (np.concatenate([[0.0], np.cumsum(part)]) for part in (curve, curve * np.arange(len(curve))))
    area, moment = (part[spells[:, 1] + 1] - part[spells[:, 0]] for part in sums)
    middles = (muscle.start_s + moment / np.where(area > 0, area, 1.0) / muscle.rate_hz).tolist()  # rises with spells
    areas = area.tolist()

    def largest(since_s: float, until_s: float) -> Spell | None:
        inside = range(bisect_left(middles, since_s), bisect_left(middles, until_s))
        return found.spells[max(inside, key=areas.__getitem__)] if inside else None

    return [
        {
            "pre_contact": largest(_looked_for_since(step, processing), step.contact_s),
            "stance": largest(step.contact_s, step.toe_off_s),
        }
        for step in steps
    ]


def _looked_for_since(step: Step, processing: MuscleProcessing) -> float:
    since = step.contact_s - processing.burst_search_s
    return since if step.toe_off_before_s is None else max(since, step.toe_off_before_s)


def signal_to_noise(muscle: Conditioned, baseline: NDArray[np.bool_], found: Activity) -> float | None:
    """Mean square of the band-passed signal in all spells over that in the baseline, in dB. None without either."""
    active = np.zeros(len(muscle.samples), bool)
    for first, last in found.spells:
        active[first : last + 1] = True
    powers = [np.mean(muscle.samples[mask] ** 2) for mask in (active, baseline) if mask.any()]
    return float(10 * np.log10(powers[0] / powers[1])) if len(powers) == 2 and min(powers) > 0 else None


def edges_s(
    muscle: Conditioned, found: Activity, spell: Spell, processing: MuscleProcessing
) -> tuple[float | None, float | None]:
    """Start and end of a spell in s on the trial's clock; None for one that may lie outside what was recorded.

    A quiet stretch between the edge of the record, or of a gap, and the spell that is no longer than a pause may be
    just that, a pause in a burst that was going on already.
    """
    first, last = spell
    pause = round(processing.longest_pause_s * muscle.rate_hz) + 1
    before, after = found.curve[max(first - pause, 0) : first], found.curve[last + 1 : last + 1 + pause]
    onset, offset = (muscle.start_s + at / muscle.rate_hz for at in spell)
    known = [len(quiet) == pause and bool(np.isfinite(quiet).all()) for quiet in (before, after)]
    return (onset if known[0] else None), (offset if known[1] else None)
