"""``python -m benchmarks.clock_matches``: how often a match of two clocks is wrong and nobody is told.

Contacts of simulated runs as two recorders tell them, through the matching that trials go through. A match is silently
wrong if it is accepted and puts any contact that both recorded more than 20 ms from where it is. These are rates of
simulated runs; how far they are from those of real ones is not known.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from pipelines.intake.clocks import ClockFit, NoClock, match_clocks
from schemas.processing_signals import ClockProcessing
from schemas.trial import FloatArray

Trains = dict[str, FloatArray]
Rng = np.random.Generator
WRONG_S = 0.020
REAL = Path(__file__).resolve().parents[2] / "shared" / "real_treadmill"
BIAS_OF_MARKERS_S = 0.003  # markers tell contact so much later than force, mean of 74 contacts (SD 2 ms)
NOWHERE_S = 1e6  # where the contacts of one run are in the file of another
#: Lengths in s of trials and of the second record before and after; spreads of steps, and of one method's contacts.
LENGTHS, AROUND, STEP_CV, NOISE_S = (4.0, 8.0, 30.0), (0.3, 6.0), (0.008, 0.035), (0.0005, 0.008)


@dataclass(frozen=True)
class Run:
    """True contacts on the trial's clock, both trains, both spans; clock: from true time to the second file's."""

    true: Trains
    trial: Trains
    second: Trains
    length_s: float
    second_s: float
    to_second: Callable[[FloatArray], FloatArray]
    twice: tuple[float, float] = (0.0, 0.0)  # what stands in the second file twice, on its own clock


def a_run(rng: Rng) -> Run:
    """One run that both recorders saw, without a fault but for scatter and a switch that misses one in a hundred."""
    length = float(rng.choice(LENGTHS))
    before, after = rng.uniform(*AROUND, 2)
    step, cv, noise = rng.uniform(0.33, 0.42), rng.uniform(*STEP_CV), float(rng.choice(NOISE_S)) * rng.uniform(0.5, 1)
    count = int((length + before + after) / step) + 4
    # steps drift with fatigue a little, and scatter
    steps = step * (1 + cv * rng.standard_normal(count)) * np.linspace(1, 1 + 0.01 * rng.standard_normal(), count)
    times = -before - rng.uniform(0, step) + np.cumsum(steps)
    true = {"left contact": times[::2], "right contact": times[1::2]}
    drift, own = rng.normal(0, 60) / 1e6, before

    def to_second(at: FloatArray) -> FloatArray:
        return np.asarray((at + own) / (1 + drift))

    bias = rng.normal(0, 0.004)

    def told(at: FloatArray, low: float, high: float, scatter: float) -> FloatArray:
        kept = at[(at > low) & (at < high) & (rng.random(len(at)) > 0.01)]
        return np.sort(kept + scatter * rng.standard_normal(len(kept)))

    trial = {k: told(v + bias, 0.02, length - 0.02, noise) for k, v in true.items()}
    second = {k: to_second(told(v, -before, length + after, 0.0005)) for k, v in true.items()}
    return Run(true, trial, second, length, float(to_second(np.array([length + after]))[0]), to_second)


@cache
def _real() -> tuple[Trains, Trains]:
    """Contacts of 30 s on a treadmill: by the pipeline's markers, and by force as its source tells (truth.json)."""
    from pipelines.intake.c3d.reading import read_c3d
    from pipelines.science.events.from_markers import marker_touches
    from schemas.processing import Processing

    recording = read_c3d(REAL / "r02_run25_landmarks.c3d")
    labels = {"calcaneus": "Heel.Bottom", "second_metatarsal_head": "MT2", "fifth_metatarsal_head": "MT5"}
    markers = {
        f"{role}_{side}": recording.points[:, recording.labels.index(f"{side[0].upper()}.{label}")] / 1000
        for role, label in labels.items()
        for side in ("left", "right")
    }
    told = json.loads((REAL / "r02_run25.truth.json").read_text(encoding="utf-8"))["contacts"]
    found = marker_touches(markers, recording.layout.point_rate_hz, Processing())
    ours = {f"{side} contact": times for side, times in found.items()}
    true = {
        f"{s} contact": np.array([c["start_s"] for c in told if c["side"] == s and c["start_s"] is not None])
        for s in ("left", "right")
    }
    return ours, true


def a_real_run(rng: Rng) -> Run:
    """A part of a real run: its markers' contacts are the trial's, those of force the second recorder's."""
    ours, theirs = _real()
    length = float(rng.choice((4.0, 8.0, 20.0)))
    start = float(rng.uniform(0.2, 29.5 - length))
    before, after = min(start, float(rng.uniform(*AROUND))), min(29.8 - start - length, float(rng.uniform(*AROUND)))
    drift = rng.normal(0, 60) / 1e6

    def to_second(at: FloatArray) -> FloatArray:
        return np.asarray((at + before) / (1 + drift))

    def part(trains: Trains, low: float, high: float) -> Trains:
        return {k: v[(v > start + low) & (v < start + high)] - start for k, v in trains.items()}

    second = {k: to_second(v) for k, v in part(theirs, -before, length + after).items()}
    true = {k: v - start + BIAS_OF_MARKERS_S for k, v in theirs.items()}  # the two methods differ by that on average
    trial = part(ours, 0.02, length - 0.02)

    def of_true(at: FloatArray) -> FloatArray:
        return to_second(at - BIAS_OF_MARKERS_S)

    return Run(true, trial, second, length, float(to_second(np.array([length + after]))[0]), of_true)


def _moved(run: Run, rng: Rng, lost: float) -> Run:
    """A block of ``lost`` s taken out of the second file (doubled, if negative) somewhere while both recorded."""
    inside = run.to_second(np.array([0.1, run.length_s - 0.1]))
    at = rng.uniform(*inside)

    def shifted(times: FloatArray) -> FloatArray:
        if lost > 0:
            times = times[(times < at) | (times >= at + lost)]
            return np.where(times >= at, times - lost, times)
        again = times[(times >= at + lost) & (times < at)] - lost
        return np.sort(np.concatenate([np.where(times >= at, times - lost, times), again]))

    second = {k: shifted(v) for k, v in run.second.items()}

    def to_second(times: FloatArray) -> FloatArray:
        own = run.to_second(times)
        return np.where(own >= at + max(lost, 0), own - lost, own)

    twice = (at + lost, at) if lost < 0 else (0.0, 0.0)
    return Run(run.true, run.trial, second, run.length_s, run.second_s - lost, to_second, twice)


def _lost(seconds: float) -> Callable[[Run, Rng], Run]:
    return lambda run, rng: _moved(run, rng, seconds)


def _half_missing(run: Run, rng: Rng) -> Run:
    """Half the contacts of one record are not there: every other one, or any."""
    every = rng.random() < 0.5
    which = rng.random() < 0.5
    trains = run.trial if which else run.second

    def half(times: FloatArray) -> FloatArray:
        return times[::2] if every else times[rng.random(len(times)) < 0.5]

    fewer = {k: half(v) for k, v in trains.items()}
    trial, second = (fewer, run.second) if which else (run.trial, fewer)
    return Run(run.true, trial, second, run.length_s, run.second_s, run.to_second)


def _other(run: Run, rng: Rng) -> Run:
    """The second file is that of another (simulated) run: nothing in it is where it should be."""
    other = a_run(rng)
    return Run(run.true, run.trial, other.second, run.length_s, other.second_s, lambda times: times + NOWHERE_S)


def _sound(run: Run, rng: Rng) -> Run:
    return run


FAULTS: dict[str, Callable[[Run, Rng], Run]] = {
    "none": _sound,
    "block of 0.03 s lost": _lost(0.03),
    "block of 0.1 s lost": _lost(0.1),
    "block of 0.5 s lost": _lost(0.5),
    "block of one stride lost": _lost(0.74),
    "block of 0.1 s doubled": _lost(-0.1),
    "half the contacts missing": _half_missing,
    "second file of another run": _other,
}


def _is_of_another_run(run: Run) -> bool:
    return bool(run.to_second(np.array([0.0]))[0] >= NOWHERE_S / 2)


def outcome(run: Run) -> str:
    """right, refused or wrong."""
    spans = ((0.0, run.length_s), (0.0, run.second_s))
    fit = match_clocks(run.trial, run.second, ClockProcessing(), spans=spans)
    if isinstance(fit, ClockFit) and _is_of_another_run(run):
        return "wrong"
    if isinstance(fit, NoClock):
        return "refused"
    return "wrong" if _worst(fit, run) > WRONG_S else "right"


def _worst(fit: ClockFit, run: Run) -> float:
    """The largest error of any contact that both recorded, s."""
    times = np.concatenate([_in_both(run, kind) for kind in run.true])
    return float(np.abs(fit.trial_time(run.to_second(times)) - times).max(initial=0.0))


def _in_both(run: Run, kind: str) -> FloatArray:
    """True contacts that both recorders told."""
    true = run.true[kind]
    told = np.abs(true[:, None] - run.trial[kind][None, :]).min(axis=1, initial=np.inf) < 0.06
    second = np.abs(run.to_second(true)[:, None] - run.second[kind][None, :]).min(axis=1, initial=np.inf) < 0.01
    own = run.to_second(true)
    once = (own < run.twice[0]) | (own >= run.twice[1])  # of a contact that stands there twice either place is right
    return np.asarray(true[told & second & once])


def measure(many: int, make: Callable[[Rng], Run] = a_run, seed: int = 0) -> dict[str, Counter[str]]:
    """Fault -> how the matches ended."""
    found = {}
    for number, (name, fault) in enumerate(FAULTS.items()):
        found[name] = Counter(
            outcome(fault(make(rng), rng)) for rng in (np.random.default_rng([seed, number, i]) for i in range(many))
        )
    return found


def _tell(what: str, found: dict[str, Counter[str]]) -> int:
    print(f"{what:32}{'runs':>7}{'right':>8}{'refused':>9}{'silently wrong':>16}")
    for name, ends in found.items():
        print(f"{name:32}{ends.total():7}{ends['right']:8}{ends['refused']:9}{ends['wrong']:16}")
    wrong = sum(ends["wrong"] for ends in found.values())
    print(f"\n{wrong} silently wrong matches in {sum(ends.total() for ends in found.values())}.\n", flush=True)
    return wrong


def main() -> int:
    """Print a line for each fault; ends with 1 if a match was silently wrong."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.clock_matches", description=__doc__)
    parser.add_argument("--many", type=int, default=125, help="runs for each fault")
    parser.add_argument("--seed", type=int, default=0, help="where the runs begin")
    asked = parser.parse_args()
    wrong = _tell("simulated runs", measure(asked.many, seed=asked.seed))
    if REAL.is_dir():
        wrong += _tell("parts of a real run of 30 s", measure(asked.many, a_real_run, asked.seed))
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
