"""``python -m benchmarks.real_recordings.disturbances``: how often a disturbance of a muscle is found, by its size.

Each is planted into one channel after another: the twelve of the real jog, and those of simulated trials on a
treadmill. What the same measures show in the channels as they are stands above, so that limits can be read off both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from types import SimpleNamespace
from typing import Any, cast

import numpy as np

from benchmarks.detection.specimens import Case, specimen
from benchmarks.detection.way import job_of
from benchmarks.real_recordings.jog_muscles import jog
from benchmarks.real_recordings.recordings import there
from checks.context import Context
from checks.findings import Stamp
from checks.muscles.disturbances import after_contact
from checks.muscles.signals import drop_db
from checks.registry import catalogue
from checks.run import run_one
from demo_site_uploads.simulator import faults_muscle as faults
from pipelines.judging.judge import TrialJob, workspace_of
from pipelines.science.muscles.heartbeat import heartbeat_in
from pipelines.science.muscles.mains import hum_of
from pipelines.science.muscles.measures import contacts_by_side
from pipelines.science.muscles.sharing import shared_fractions
from pipelines.science.muscles.signal import MICROVOLTS, conditioned_muscles
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.study import Study
from schemas.trial import FloatArray, Signal

#: Simulated trials on a treadmill, six muscles each.
CASES = tuple(Case(number, "brack", muscles=True) for number in (1, 2, 3))
#: size and side -> what happens to a channel
Maker = Callable[[float, str], faults.ChannelFault]


def _cut_off(percent: float, side: str) -> faults.ChannelFault:
    """The amplifier's range ends where ``percent`` of the samples lie beyond it."""

    def plant(x: faults.Recorded) -> faults.Recorded:
        end = float(np.percentile(np.abs(x.values), 100 - percent))
        return replace(x, values=np.clip(x.values, -end, end))

    return plant


@dataclass(frozen=True)
class Kind:
    """A disturbance in sizes. finds: the check that is to speak."""

    what: str
    unit: str
    sizes: tuple[float, ...]
    finds: str
    maker: Maker


KINDS = (
    Kind("mains hum", "uV", (3, 6, 10, 15, 20, 30), "muscles_are_free_of_mains_hum", lambda u, s: faults.humming(u)),
    Kind("lead swings after contact", "uV", (100, 200, 400, 800, 1600), "muscles_are_free_of_movement", faults.moved),
    Kind(
        "heartbeats, 110 a minute", "uV", (40, 80, 160, 320, 640), "muscles_are_free_of_heartbeats",
        lambda u, s: faults.with_heartbeats(u, 110),
    ),
    Kind("cut off", "%", (0.2, 0.5, 1, 2, 5), "muscle_signals_can_be_used", _cut_off),
    Kind(
        "low-pass", "Hz", (300, 250, 200, 150, 100), "muscle_signals_fill_their_band",
        lambda hz, s: faults.low_passed(hz),
    ),
)  # fmt: skip
#: Parts of another muscle's signal in a channel.
CROSSTALK_PERCENT = (25.0, 50.0, 100.0, 200.0, 400.0)
CROSSTALK_FINDS = "every_muscle_has_its_own_signal"


@dataclass(frozen=True)
class Recording:
    """A trial whose muscles are good. work: all that is computed of it."""

    work: Workspace
    study: Study

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Its muscles."""
        return tuple(s for s in self.work.trial.signals if s.role == "muscle")

    def context(self, own: Sequence[Signal]) -> Context:
        """What a check is shown of it with these signals in place of its own."""
        work = self.work
        trial = replace(work.trial, signals=tuple(own))
        other = Workspace(trial, work.processing, work.posture, muscle_phases=self.study.muscle_phases())
        other = other.given(contacts=work.contacts, footfalls=work.footfalls, event_agreement=work.event_agreement)
        return Context(self.study, "a-001", trial.site, work=other, channels=ChannelFacts(named_count=len(own)))

    def speaks(self, check_name: str, own: Sequence[Signal]) -> bool:
        """Whether the check finds something in these signals."""
        return bool(run_one(catalogue()[check_name], self.context(own), Stamp("0", "0")).findings)

    def planted(self, signal: Signal, fault: faults.ChannelFault) -> Signal:
        """One of its signals with a fault; sizes are those at the skin."""
        scale = MICROVOLTS[signal.unit]
        truth = SimpleNamespace(trial_id=self.work.trial.trial_id, footfalls=_footfalls(self.work))
        uv = signal.samples * scale
        step = float(np.diff(np.unique(uv)).min())
        found = fault(faults.Recorded(signal.label, uv, signal.times_s, signal.rate_hz, "uV", step, cast(Any, truth)))
        return replace(signal, samples=found.values / scale)


def _footfalls(work: Workspace) -> list[SimpleNamespace]:
    sides = contacts_by_side(work.footfalls)
    return [SimpleNamespace(side=s, contact_s=a, toe_off_s=b) for s, own in sides.items() for a, b in own]


@cache
def real() -> tuple[Recording, ...]:
    """The real jog."""
    return (_recording(jog().job),)


@cache
def recordings() -> Mapping[str, tuple[Recording, ...]]:
    """Real and simulated."""
    return {"real jog": real(), "simulated": tuple(_recording(job_of(specimen(case))) for case in CASES)}


def _recording(job: TrialJob) -> Recording:
    return Recording(workspace_of(job)[0], job.study)


def found(kind: Kind, size: float, own: Sequence[Recording]) -> tuple[int, int]:
    """In how many of the channels a size is found, and how many there are."""
    told = [
        recording.speaks(kind.finds, [recording.planted(signal, kind.maker(size, str(signal.side)))])
        for recording in own
        for signal in recording.signals
    ]
    return sum(told), len(told)


def crosstalk_found(percent: float, own: Sequence[Recording]) -> tuple[int, int]:
    """The same where a part of the muscle named before it in the file is in a channel too."""
    told = []
    for recording in own:
        for one, other in zip(recording.signals, recording.signals[1:], strict=False):
            mixed: FloatArray = other.samples + percent / 100 * one.samples
            told.append(recording.speaks(CROSSTALK_FINDS, [one, replace(other, samples=mixed)]))
    return sum(told), len(told)


def common_signals(name: str, own: Sequence[Recording]) -> Iterator[str]:
    """``shared_fraction`` of channels as they are, and where a part of the muscle named before is in a channel too."""
    for percent in (0.0, *CROSSTALK_PERCENT[:3]):
        shared: list[float] = []
        for recording in own:
            for one, other in zip(recording.signals, recording.signals[1:], strict=False):
                mixed: FloatArray = other.samples + percent / 100 * one.samples
                pair = conditioned_muscles([one, replace(other, samples=mixed)], recording.work.processing.muscle)
                shared += [found for found in list(shared_fractions(pair).values())[:1] if found is not None]
        low, middle, most = (100 * float(v) for v in (np.min(shared), np.median(shared), np.max(shared)))
        yield f"  {percent:g} % of another's signal, {name}: shared {low:.1f} to {most:.1f} %, median {middle:.1f} %"


def as_they_are(own: Sequence[Recording]) -> Iterator[str]:
    """What the measures behind the limits show in channels without a disturbance: median and most."""
    values: dict[str, list[float]] = {}
    for recording in own:
        contacts = contacts_by_side(recording.work.footfalls)
        starts = sorted(start for side in contacts.values() for start, _ in side)
        step = float(np.median(np.diff(starts)))
        for m in recording.context(recording.signals).work.raw_muscles:  # type: ignore[union-attr]
            hum, beat = hum_of(m, None), heartbeat_in(m, (step, 2 * step))
            slow, _ = after_contact(m, [start for start, _ in contacts[str(m.signal.side)]])
            for name, value in (
                ("hum, part of the quiet power", hum.share),
                ("hum, uV", hum.size_uv),
                ("slow swing after contact over bursts", slow / m.burst_uv),
                ("repetition at a heart's rate", beat.share if beat else np.nan),
                ("fall to the upper end of the band, dB", drop_db(m)),
                ("bursts, uV", m.burst_uv),
                ("rest, uV", m.quiet_uv),
            ):
                values.setdefault(name, []).append(value)
    for name, each in values.items():
        low, middle, most = np.nanmin(each), np.nanmedian(each), np.nanmax(each)
        yield f"  {name:40}{low:9.3g} to {most:.3g}, median {middle:.3g}"


def lines() -> Iterator[str]:
    """All of it."""
    for name, own in recordings().items():
        yield f"As they are: {name}"
        yield from as_they_are(own)
    for kind in KINDS:
        yield f"{kind.what} ({kind.finds})"
        for size in kind.sizes:
            told = [found(kind, size, own) for own in recordings().values()]
            yield f"  {size:8g} {kind.unit:4}" + _beside(told)
    for name, own in recordings().items():
        yield from common_signals(name, own)
    yield f"a part of another muscle's signal ({CROSSTALK_FINDS})"
    for percent in CROSSTALK_PERCENT:
        yield f"  {percent:8g} {'%':4}" + _beside([crosstalk_found(percent, own) for own in recordings().values()])


def _beside(told: Sequence[tuple[int, int]]) -> str:
    return "".join(f"   {name}: {seen} of {count}" for name, (seen, count) in zip(recordings(), told, strict=True))


if __name__ == "__main__":
    if not there():
        raise SystemExit("The real recordings are not on this machine (../shared/real_treadmill, real_runway_emg).")
    for line in lines():
        print(line, flush=True)
