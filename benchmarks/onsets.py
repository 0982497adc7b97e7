"""``python -m benchmarks.onsets``: how far onsets of muscles by three published detectors lie from the truth.

Threshold (Hodges & Bui 1996) and energy operator with a threshold (Li, Zhou & Aruin 2007; Solnik et al. 2010) are those
of the pipeline. The third is the change point of greatest likelihood of a signal whose variance changes once, as the
statistical detectors that Staude et al. 2001 (EURASIP J Appl Signal Process 2001:67-81) and Tenan et al. 2017 (PLoS ONE
12:e0177312) compare; it is here to be compared and gives no outcome.

Simulated signals have a known start, but bursts of a real muscle rise in many ways: they are made with a short and a
long rise, and with an earlier smaller burst as muscles with two bursts have it. Of the real jog nobody knows the truth;
there it is told how far the detectors lie apart and how much one detector's onsets differ from stride to stride.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from benchmarks.real_recordings.jog_muscles import context, signals
from benchmarks.real_recordings.recordings import there
from demo_site_uploads.simulator.muscle import BASELINE_UV, electromyogram
from pipelines.science.muscles.bursts import METHODS, activity, baseline_of, burst_rows
from pipelines.science.muscles.outcomes import Muscles
from pipelines.science.muscles.signal import Conditioned
from pipelines.science.muscles.windows import Step, steps_of
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray, Signal

STATISTICAL = "change_point"
DETECTORS = (*METHODS, STATISTICAL)
#: Twice the gain in log likelihood that a change must bring. Own choice.
LEAST_GAIN = 20.0
RATE_HZ, STRIDE_S, CONTACT_S, STRIDES = 1000.0, 0.72, 0.23, 40
TRUE_LEAD_S, AMPLITUDE_UV = 0.08, 130.0
#: name -> rise of the burst in s, and amplitude of an earlier burst as a part of the main one.
SHAPES = {
    "rise of 20 ms": (0.02, 0.0),
    "rise of 60 ms": (0.06, 0.0),
    "rise of 120 ms": (0.12, 0.0),
    "rise of 20 ms, a third as strong before": (0.02, 0.3),
}


def change_point(muscle: Conditioned, since_s: float, until_s: float) -> float | None:
    """When the variance of the signal grows between two times, in s; None if it does not, or is not known there.

    Of all splits of the samples into n1 before and n2 after with mean squares v1 < v2, the one with the greatest
    likelihood of two Gaussian noises, -(n1 log v1 + n2 log v2) / 2. The part ends where the signal is strongest.
    """
    span = muscle.span(since_s, until_s)
    if span is None or not np.isfinite(muscle.samples[span]).all():
        return None
    squares = muscle.samples[span] ** 2
    width = max(round(0.03 * muscle.rate_hz), 1)
    strongest = int(np.argmax(np.convolve(squares, np.ones(width), "same")))
    sums = np.cumsum(squares[: max(strongest, 2 * width)])
    count = len(sums)
    splits = np.arange(width, count - width)
    if not len(splits):
        return None
    before = sums[splits - 1] / splits
    after = (sums[-1] - sums[splits - 1]) / (count - splits)
    gain = count * np.log(sums[-1] / count) - splits * np.log(before) - (count - splits) * np.log(after)
    gain = np.where(after > before, gain, -np.inf)
    best = int(np.argmax(gain))
    return None if gain[best] < LEAST_GAIN else since_s + float(splits[best]) / muscle.rate_hz


def onsets(muscles: Muscles, key: tuple[str, str], steps: Sequence[Step]) -> dict[str, list[float]]:
    """Detector -> lead of each contact in s, NaN where it gives none; contacts that are recorded only."""
    muscle, processing = muscles.conditioned[key], muscles.processing
    baseline = baseline_of(muscle, processing)
    found: dict[str, list[float]] = {}
    for method in METHODS:
        seen = activity(muscle, muscles.onset_curves[key, method], baseline, method, processing)
        rows = burst_rows(muscle, seen, method, steps, processing)
        found[method] = [np.nan if r["onset_before_contact_s"] is None else r["onset_before_contact_s"] for r in rows]
    found[STATISTICAL] = []
    for step in steps:
        if muscle.span(step.contact_s, step.toe_off_s) is not None:
            since = step.contact_s - processing.burst_search_s
            since = since if step.toe_off_before_s is None else max(since, step.toe_off_before_s)
            at = change_point(muscle, since, step.toe_off_s)
            found[STATISTICAL].append(np.nan if at is None else step.contact_s - at)
    return found


def simulated(rise_s: float, before: float, seed: int) -> tuple[Muscles, tuple[str, str], list[Step]]:
    """A calf muscle that begins TRUE_LEAD_S before each contact, with the noise and spectrum of the simulator."""
    chance = np.random.default_rng(seed)
    contacts = 0.6 + STRIDE_S * np.arange(STRIDES)
    t = np.arange(round((contacts[-1] + 0.6) * RATE_HZ)) / RATE_HZ
    level = np.zeros(len(t))
    for contact in contacts:
        for start, size in ((contact - TRUE_LEAD_S, 1.0), (contact - 0.22, before)):
            up = np.clip((t - start) / rise_s, 0, 1)
            end = contact + 0.65 * CONTACT_S if size == 1.0 else start + 0.08
            down = np.clip((end - t) / 0.05, 0, 1)
            level = np.maximum(level, size * AMPLITUDE_UV * (1 - np.cos(np.pi * np.minimum(up, down))) / 2)
    samples: FloatArray = level * electromyogram(len(t), RATE_HZ, chance)
    samples = samples + BASELINE_UV * electromyogram(len(t), RATE_HZ, chance)
    key = ("soleus", "left")
    signal = Signal("muscle", *key, "uV", RATE_HZ, samples)
    ends = contacts + CONTACT_S
    steps = [
        Step(i + 1, float(c), float(e), float(ends[i - 1]) if i else None, float(c + STRIDE_S))
        for i, (c, e) in enumerate(zip(contacts, ends, strict=True))
    ]
    return Muscles([signal], MuscleProcessing()), key, steps


def of_simulated() -> Iterator[str]:
    """Error of each detector, found less true onset: median and spread, by shape."""
    for name, (rise_s, before) in SHAPES.items():
        for detector, leads in onsets(*simulated(rise_s, before, 1)).items():
            late = 1000 * (TRUE_LEAD_S - np.array(leads))
            known = late[np.isfinite(late)]
            middle, spread = np.median(known), np.subtract(*np.percentile(known, [75, 25])) / 1.349
            far = 100 * np.mean(np.abs(known - middle) > 50)
            yield (
                f"  {name:42}{detector:18}{middle:+6.0f} ms late, spread {spread:3.0f} ms, "
                f"{far:3.0f} % more than 50 ms off it, {len(late) - len(known)} of {len(late)} without"
            )


def of_the_jog() -> Iterator[str]:
    """How far apart detectors and strides lie in the real jog."""
    work = context(signals()).work
    assert work is not None
    apart: list[float] = []
    all_apart: list[float] = []
    strides: dict[str, list[float]] = {name: [] for name in DETECTORS}
    for key in work.muscles.conditioned:
        found = onsets(work.muscles, key, steps_of(work.footfalls, key[1]))
        each = 1000 * np.array([found[name] for name in DETECTORS])
        for leads in each.T:
            if np.isfinite(leads[:2]).all():
                apart.append(abs(leads[0] - leads[1]))
            if np.isfinite(leads).all():
                all_apart.append(float(np.ptp(leads)))
        for name, leads in zip(DETECTORS, each, strict=True):
            if len(leads) == 2 and np.isfinite(leads).all():
                strides[name].append(abs(leads[1] - leads[0]))
    for what, values in (("threshold and energy operator", apart), ("all three detectors", all_apart)):
        over = [sum(v > limit for v in values) for limit in (20, 50)]
        middle = f"{np.median(values):.0f} ms (median of {len(values)})"
        yield f"  {what}: apart by {middle}, by more than 20 ms in {over[0]}, 50 ms in {over[1]}"
    for name, values in strides.items():
        middle = f"{np.median(values):.0f} ms (median of {len(values)})"
        yield f"  {name}: two strides of one muscle differ by {middle}, {max(values):.0f} ms at most"


if __name__ == "__main__":
    print("Simulated, true onset 80 ms before contact")
    for line in of_simulated():
        print(line)
    if there():
        print("The real jog, twelve muscles, two contacts")
        for line in of_the_jog():
            print(line)
