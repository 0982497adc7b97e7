"""The twelve muscles of the real jog on the runway, as they are and with faults planted into them.

They are of the right leg, recorded in volts by an amplifier whose gain is not known; 1000 makes the values usual ones.
Names are those of the study that such a laboratory would write: SENIAM's where SENIAM has one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache

from benchmarks.real_recordings.recordings import Recorded, runway
from checks.context import Context
from checks.findings import Finding, Stamp
from checks.registry import Subject, catalogue
from checks.run import run_checks
from pipelines.judging.judge import workspace_of
from pipelines.science.workspace import Workspace
from schemas.declared import MuscleSpec
from schemas.reading import ChannelFacts
from schemas.study import Study
from schemas.trial import FloatArray, Signal

MUSCLES = {
    "TA": "tibialis_anterior",
    "VMO": "vastus_medialis",
    "VL": "vastus_lateralis",
    "RF": "rectus_femoris",
    "AddMagnus": "adductor_magnus",
    "GMED": "gluteus_medius",
    "GMAX": "gluteus_maximus",
    "MHAMS": "semitendinosus",
    "LHAMS": "biceps_femoris",
    "MGAST": "gastrocnemius_medialis",
    "LGAST": "gastrocnemius_lateralis",
    "MSOLEUS": "soleus",
}
GAIN, SIDE = 1000.0, "right"
#: Seed of every random part of a fault.
_SEED = 13


def channel_rows(gain: str | None = f"{GAIN:g}", side: str | None = SIDE) -> tuple[dict[str, str | None], ...]:
    """The rows of channels.csv that the laboratory would write."""
    return tuple(
        {
            "trial_id": "r11-run35",
            "label": label,
            "role": "muscle",
            "muscle": muscle,
            "side": side,
            "unit_code": "V",
            "amplifier_gain": gain,
        }
        for label, muscle in MUSCLES.items()
    )


@cache
def jog() -> Recorded:
    """The jog with its muscles."""
    plain = runway()
    spec = {name: MuscleSpec(description=name) for name in MUSCLES.values()}
    own = plain.job.study.model_copy(update={"muscles": spec})
    return replace(plain, job=replace(plain.job, study=own, channel_rows=channel_rows()))


@cache
def _read() -> tuple[Workspace, Study]:
    return workspace_of(jog().job)[0], jog().job.study


def signals() -> tuple[Signal, ...]:
    """Its muscles' signals, in volts at the skin."""
    return _read()[0].trial.signals


def context(own: Iterable[Signal]) -> Context:
    """What checks are shown of the jog with these signals in place of its own."""
    work, study = _read()
    shown = tuple(own)
    trial = replace(work.trial, signals=shown)
    # contacts do not come from muscles
    other = Workspace(trial, work.processing, work.posture, muscle_phases=study.muscle_phases())
    other = other.given(contacts=work.contacts, footfalls=work.footfalls, event_agreement=work.event_agreement)
    return Context(study, "lane-001", trial.site, work=other, channels=ChannelFacts(named_count=len(shown)))


def told(own: Iterable[Signal]) -> list[Finding]:
    """What every check of muscles and of damaged channels says."""
    topics = ("muscles.", "recording.packets", "recording.damage", "recording.channels")
    names = [n for n, spec in catalogue().items() if spec.about is Subject.TRIAL and spec.topic.startswith(topics)]
    return list(run_checks(Subject.TRIAL, context(own), Stamp("0", "0"), only=names).findings)


Change = Callable[[Signal], Signal]


@dataclass(frozen=True)
class Fault:
    """A fault that a laboratory makes. change: of each channel. finds: the checks of which one must speak."""

    what: str
    change: Change
    finds: tuple[str, ...]

    def planted(self) -> tuple[Signal, ...]:
        """The jog's signals with it."""
        return tuple(self.change(signal) for signal in signals())


def _named(names: Mapping[str, str]) -> Change:
    return lambda signal: replace(signal, muscle=names.get(str(signal.muscle), signal.muscle))


def _on(muscle: str, change: Callable[[FloatArray, FloatArray], FloatArray]) -> Change:
    """change: (n,) uV and times (n,) s -> (n,) uV, of one muscle."""

    def planted(signal: Signal) -> Signal:
        if signal.muscle != muscle:
            return signal
        return replace(signal, samples=1e-6 * change(1e6 * signal.samples, signal.times_s))

    return planted


def _exchanged(one: str, other: str) -> Fault:
    names = {one: other, other: one}
    return Fault(f"{one} exchanged with {other}", _named(names), ("muscles_of_a_leg_are_not_exchanged",))


def _late(late_s: float) -> Fault:
    return Fault(
        f"clock of the muscles {1000 * late_s:+.0f} ms late",
        lambda s: replace(s, start_s=s.start_s + late_s, source="sidecar"),
        ("muscles_keep_time_with_the_feet",),
    )


def _another_leg(signal: Signal) -> Signal:
    return replace(signal, side="left")


_LEGS, _NAMES = ("left_and_right_muscles_are_not_exchanged",), ("muscle_channels_say_muscle_and_side",)
#: Half a stride of this runner.
HALF_STRIDE_S = 0.377
NAMES_AND_CLOCKS = (
    Fault("side of every channel blank", lambda s: replace(s, side=None), _NAMES),
    Fault("all muscles called the left leg's", _another_leg, _LEGS),
    Fault("gastrocnemius called the left leg's", lambda s: _another_leg(s) if s.label == "MGAST" else s, _LEGS),
    Fault("vastus lateralis called the left leg's", lambda s: _another_leg(s) if s.label == "VL" else s, _LEGS),
    _exchanged("vastus_lateralis", "biceps_femoris"),
    _exchanged("vastus_medialis", "semitendinosus"),
    _exchanged("tibialis_anterior", "gastrocnemius_medialis"),
    _exchanged("rectus_femoris", "vastus_lateralis"),
    _exchanged("gluteus_medius", "biceps_femoris"),
    _exchanged("soleus", "tibialis_anterior"),
    *(_late(s) for s in (-HALF_STRIDE_S, -0.19, 0.1, 0.19, HALF_STRIDE_S)),
)


def lines() -> Iterator[str]:
    """Each fault, whether one of its checks spoke, and what else did."""
    for fault in NAMES_AND_CLOCKS:
        spoke = [f.check_name for f in told(fault.planted())]
        verdict = "found " if set(spoke) & set(fault.finds) else "missed"
        names = ", ".join(f"{n} ({spoke.count(n)})" for n in dict.fromkeys(spoke))
        yield f"{verdict} {fault.what}: {names or 'nothing'}"


if __name__ == "__main__":
    for line in lines():
        print(line)
