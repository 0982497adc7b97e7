"""Muscle signals whose onsets are known: simulated ones, and the real jog's own muscles switched on at known moments.

Of the real jog nobody knows when a muscle truly began. But its bursts and its rest can be taken apart: what a channel
shows in its bursts, by its own level, is a carrier with a real spectrum and real swings; what it shows in its quietest
windows is real rest. Pieces of the carrier, raised and lowered at known moments, on pieces of that rest are a signal
that is real in all but the shape of its level.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from benchmarks.real_recordings.jog_muscles import context, signals
from demo_site_uploads.simulator.muscle import BASELINE_UV, electromyogram
from pipelines.science.muscles.bursts import baseline_of
from pipelines.science.muscles.outcomes import Muscles
from pipelines.science.muscles.windows import Step
from schemas.mechanics import runs
from schemas.processing_signals import MuscleProcessing
from schemas.trial import FloatArray, Signal

STRIDE_S, CONTACT_S, STRIDES, FIRST_S = 0.72, 0.23, 40, 0.6
#: Seconds from onset to contact, on average and its standard deviation.
LEAD_S, LEAD_SD_S = 0.08, 0.01
KEY = ("soleus", "left")
#: (count, chance) -> (count,) samples of root mean square 1
Carrier = Callable[[int, np.random.Generator], FloatArray]
#: (count, chance) -> (count,) uV
Rest = Callable[[int, np.random.Generator], FloatArray]


@dataclass(frozen=True)
class Shape:
    """How the level of each stride's bursts goes. rise_s: from nothing to all, half a raised cosine.

    before: an earlier burst that ends before the main one begins, as a part of it; 0 for none.
    """

    name: str
    rise_s: float
    before: float = 0.0


SHAPES = (
    Shape("rise of 20 ms", 0.02),
    Shape("rise of 60 ms", 0.06),
    Shape("rise of 120 ms", 0.12),
    Shape("rise of 20 ms, two bursts", 0.02, 0.6),
)


@dataclass(frozen=True)
class Source:
    """Whose bursts and rest are put together. burst_uv: root mean square of a burst."""

    name: str
    rate_hz: float
    burst_uv: float
    carrier: Carrier
    rest: Rest


@dataclass(frozen=True)
class Made:
    """A muscle with known onsets. onset_s: (k,) of each contact's main burst."""

    muscles: Muscles
    steps: list[Step]
    onset_s: FloatArray


def made(source: Source, shape: Shape, seed: int) -> Made:
    """One muscle over ``STRIDES`` contacts."""
    chance = np.random.default_rng(seed)
    rate = source.rate_hz
    contacts = FIRST_S + STRIDE_S * np.arange(STRIDES)
    onsets = contacts - LEAD_S + LEAD_SD_S * chance.standard_normal(STRIDES)
    count = round((contacts[-1] + 0.6) * rate)
    t = np.arange(count) / rate
    level = np.zeros(count)
    for contact, onset in zip(contacts, onsets, strict=True):
        bursts = [(onset, contact + 0.65 * CONTACT_S, 1.0)]
        if shape.before:
            bursts.append((onset - 0.14, onset - 0.04, shape.before))
        for start, end, size in bursts:
            up, down = np.clip((t - start) / shape.rise_s, 0, 1), np.clip((end - t) / 0.05, 0, 1)
            level = np.maximum(level, size * (1 - np.cos(np.pi * np.minimum(up, down))) / 2)
    samples = source.burst_uv * level * source.carrier(count, chance) + source.rest(count, chance)
    ends = contacts + CONTACT_S
    steps = [
        Step(i + 1, float(c), float(e), float(ends[i - 1]) if i else None, float(c + STRIDE_S))
        for i, (c, e) in enumerate(zip(contacts, ends, strict=True))
    ]
    return Made(Muscles([Signal("muscle", *KEY, "uV", rate, samples)], MuscleProcessing()), steps, onsets)


def simulated() -> Iterator[Source]:
    """The simulator's muscle at three strengths over its rest."""

    def carrier(count: int, chance: np.random.Generator) -> FloatArray:
        return np.asarray(electromyogram(count, 1000.0, chance), float)

    def rest(count: int, chance: np.random.Generator) -> FloatArray:
        return BASELINE_UV * carrier(count, chance)

    for burst_uv in (25.0, 60.0, 130.0):
        yield Source(f"simulated, {burst_uv:g} uV", 1000.0, burst_uv, carrier, rest)


@cache
def real() -> tuple[Source, ...]:
    """Each muscle of the real jog whose bursts stand out of its rest."""
    work = context(signals()).work
    assert work is not None
    found = []
    for muscle in work.raw_muscles:
        own = muscle.conditioned
        level = np.sqrt(
            np.convolve(own.samples**2, np.ones(round(0.1 * own.rate_hz)) / round(0.1 * own.rate_hz), "same")
        )
        active = level > 0.5 * muscle.burst_uv
        unit = [own.samples[a:b] / level[a:b] for a, b in runs(active) if b - a >= 0.05 * own.rate_hz]
        quiet = [own.samples[a:b] for a, b in runs(baseline_of(own, muscle.settings))]
        found.append(Source(str(muscle.signal.muscle), own.rate_hz, muscle.burst_uv, _pieces(unit), _pieces(quiet)))
    return tuple(found)


def _pieces(parts: list[FloatArray]) -> Carrier:
    """Parts drawn by chance one after the other, forward or backward, either way up, each blended into the next."""

    def drawn(count: int, chance: np.random.Generator) -> FloatArray:
        blend = min(30, min(map(len, parts)) // 3)
        up = np.sin(np.linspace(0, np.pi / 2, blend + 2)[1:-1])  # powers of both add up to 1
        joined = np.zeros(count + 2 * max(map(len, parts)))
        at = 0
        while at < count + blend:
            part = parts[int(chance.integers(len(parts)))] * chance.choice([-1.0, 1.0])
            part = part[:: int(chance.choice([-1, 1]))].copy()
            part[:blend] *= up
            part[-blend:] *= up[::-1]
            joined[at : at + len(part)] += part
            at += len(part) - blend
        return joined[blend : count + blend]

    return drawn
