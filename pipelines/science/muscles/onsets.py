"""When a muscle's burst begins, by three published detectors, how surely, and where they do not agree.

What a burst is, and to which contact it belongs, is in ``bursts``. Nobody knows when a real muscle truly began. So an
onset is given where all three detectors find it, and is the middle one of theirs, with a standard uncertainty whose
coverage ``python -m benchmarks.onsets`` measures on signals of known onset, simulated ones and real ones. The middle of
three errs less than any of them; where one of them lies apart, the other two err too often together.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from pipelines.science.muscles.bursts import PLACES, Activity, Spell, bursts_of, edges_s
from pipelines.science.muscles.signal import Conditioned
from pipelines.science.muscles.windows import Step
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray

CHANGE_POINT = "change_point"
#: Threshold: Hodges & Bui 1996. Energy operator: Li, Zhou & Aruin 2007; Solnik et al. 2010. Change point of greatest
#: likelihood: the family of Staude et al. 2001, EURASIP J Appl Signal Process 2001:67-81.
DETECTORS = ("threshold", "energy_operator", CHANGE_POINT)
#: Twice the gain in log likelihood that a change must bring. Own choice.
LEAST_GAIN = 20.0
#: Own choice: a variance is told by no shorter part.
SHORTEST_PART_S = 0.01
#: What an onset is uncertain by: in every burst, by a part of the spread of the detectors, and of the burst's rise.
#: Read off signals of known onset, see ``benchmarks.onsets``.
LEAST_S, OF_SPREAD, OF_RISE = 0.003, 0.5, 0.4


def change_point(squares: FloatArray, shortest: int) -> int | None:
    """The sample (n,) from which on the mean square is greater; None if nothing speaks for a change.

    Of all splits of n samples into n1 before and n2 after, with mean squares v1 < v2, the one with the greatest
    likelihood of two Gaussian noises, -(n1 log v1 + n2 log v2) / 2. Neither part is shorter than ``shortest``. None
    where a sample is missing too.
    """
    count = len(squares)
    if count < 2 * shortest or shortest < 1:
        return None
    sums = np.cumsum(squares)
    if not (np.isfinite(sums[-1]) and sums[-1] > 0):
        return None
    splits = np.arange(shortest, count - shortest + 1)
    before = sums[splits - 1] / splits
    after = (sums[-1] - sums[splits - 1]) / (count - splits)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = count * np.log(sums[-1] / count) - splits * np.log(before) - (count - splits) * np.log(after)
    gain[~(after > before)] = -np.inf
    best = int(np.argmax(gain))
    return int(splits[best]) if gain[best] >= LEAST_GAIN else None


def onset_rows(
    muscle: Conditioned, found: Mapping[str, Activity], steps: Sequence[Step], processing: MuscleProcessing
) -> Iterator[dict[str, Any]]:
    """Rows of ``muscle_bursts`` less trial, muscle, side and provenance: one per place and contact that is recorded.

    found: what the two threshold methods see. Which bursts there are, and where they end, is told by the energy
    operator, which joins two bursts least.
    """
    own = found["energy_operator"]
    recorded = [step for step in steps if muscle.span(step.contact_s, step.toe_off_s) is not None]
    for step, bursts in zip(recorded, bursts_of(muscle, own, recorded, processing), strict=True):
        for place in PLACES:
            row = {"footfall_number": step.footfall_number, "burst": place, **_NOTHING}
            spell = bursts[place]
            if spell is not None:
                row |= _times(muscle, found, spell, step.contact_s, processing)
            elif muscle.problem:
                row["onset_quality"] = "signal_of_no_use"
            yield row


def onsets_s(
    muscle: Conditioned, found: Mapping[str, Activity], spell: Spell, processing: MuscleProcessing
) -> dict[str, float]:
    """Detector -> when this burst of the energy operator begins, s on the trial's clock; of those that tell.

    The threshold's is the beginning of its own spell that shares most with the burst; the change point is looked for
    from the end of the burst before to the strongest moment of this one.
    """
    own, onsets = found["energy_operator"], dict[str, float | None]()
    for method, activity in found.items():
        theirs = spell if activity is own else _overlapping(activity.spells, spell)
        onsets[method] = edges_s(muscle, activity, theirs, processing)[0] if theirs else None
    place = bisect_left(own.spells, spell)
    first = max(spell[0] - round(processing.burst_search_s * muscle.rate_hz), 0)
    if place:
        first = max(first, own.spells[place - 1][1] + 1)
    strongest = spell[0] + int(np.argmax(own.curve[spell[0] : spell[1] + 1]))
    shortest = max(round(SHORTEST_PART_S * muscle.rate_hz), 1)
    change = change_point(muscle.samples[first : strongest + shortest] ** 2, shortest)
    onsets[CHANGE_POINT] = None if change is None else muscle.start_s + (first + change) / muscle.rate_hz
    return {name: at for name, at in onsets.items() if at is not None}


def uncertainty_s(spread_s: float, rise_s: float) -> float:
    """Standard uncertainty in s of an onset on which the detectors agree.

    The root of the sum of squares of ``LEAST_S``, of ``OF_SPREAD`` times how far the detectors lie apart, and of
    ``OF_RISE`` times the time from the onset to half of the burst's largest power: where a burst rises slowly, every
    detector is late.
    """
    return float(np.sqrt(LEAST_S**2 + (OF_SPREAD * spread_s) ** 2 + (OF_RISE * rise_s) ** 2))


def rise_s(muscle: Conditioned, own: Activity, spell: Spell) -> float:
    """Time in s from the beginning of a spell until its curve has half of its largest value."""
    curve = own.curve[spell[0] : spell[1] + 1]
    return int(np.argmax(curve >= curve.max() / 2)) / muscle.rate_hz


_NOTHING: Mapping[str, Any] = {
    "onset_before_contact_s": None,
    "onset_uncertainty_s": None,
    "onset_quality": "no_burst",
    "onset_spread_s": None,
    "offset_after_contact_s": None,
    **{f"onset_by_{name}_s": None for name in DETECTORS},
}


def _times(
    muscle: Conditioned, found: Mapping[str, Activity], spell: Spell, contact_s: float, processing: MuscleProcessing
) -> dict[str, Any]:
    """The columns of times and doubt of one burst."""
    onsets = onsets_s(muscle, found, spell, processing)
    own = found["energy_operator"]
    _, offset_s = edges_s(muscle, own, spell, processing)
    times: dict[str, Any] = {f"onset_by_{name}_s": contact_s - at for name, at in onsets.items()}
    times["offset_after_contact_s"] = None if offset_s is None else offset_s - contact_s
    in_order = sorted(onsets.values())
    limit = processing.onset_agreement_s
    near = max((sum(at <= one <= at + limit for one in in_order) for at in in_order), default=0)
    times["onset_quality"] = _QUALITY.get(near, "detectors_differ") if len(onsets) > 1 else "start_not_known"
    if len(onsets) > 1:
        times["onset_spread_s"] = in_order[-1] - in_order[0]
    if near == len(DETECTORS):
        times["onset_before_contact_s"] = contact_s - in_order[1]
        times["onset_uncertainty_s"] = uncertainty_s(times["onset_spread_s"], rise_s(muscle, own, spell))
    return times


_QUALITY = {2: "two_agree", 3: "all_agree"}


def _overlapping(spells: Sequence[Spell], spell: Spell) -> Spell | None:
    """Of the spells, in order, that which shares most samples with another method's."""
    best, most = None, 0
    for place in range(bisect_left(spells, spell[0], key=lambda one: one[1]), len(spells)):
        first, last = spells[place]
        if first > spell[1]:
            break
        shared = min(last, spell[1]) - max(first, spell[0]) + 1
        if shared > most:
            best, most = (first, last), shared
    return best
