"""Muscle signals, footswitches and clocks for tests of checks: noise with bursts where a runner has them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from checks.context import Context
from pipelines.science.muscles.measures import contacts_by_side
from pipelines.science.workspace import Workspace
from schemas.reading import ChannelFacts
from schemas.trial import Signal, Trial
from tests.builders import a_study, a_trial
from tests.checks.running_checks import of_trial

RATE = 1000.0
SECOND = "trials/T1.edf"
TRIAL = a_trial(footfalls=12)
CONTACTS = contacts_by_side(Workspace(TRIAL, a_study().processing).footfalls)
CALF, SHIN = "soleus", "tibialis_anterior"


def band_noise(count: int, seed: int, rate_hz: float = RATE) -> np.ndarray:
    """Noise of root mean square 1 from 20 Hz to 400 Hz that falls off with frequency as a muscle's does."""
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(count))
    f = np.fft.rfftfreq(count, 1 / rate_hz)
    spectrum[(f < 20) | (f > 400)] = 0
    samples = np.fft.irfft(spectrum / (1 + (f / 120) ** 2), count)
    return samples / samples.std()


def bursts(muscle: str, side: str, t: np.ndarray) -> np.ndarray:
    """1 where this muscle is active, 0 elsewhere: the calf in contact, the shin in swing and at contact."""
    on = np.zeros(len(t))
    for start, end in CONTACTS[side]:
        spell = (start - 0.06, start + 0.65 * (end - start)) if muscle == CALF else (start - 0.19, start + 0.02)
        on[(t >= spell[0]) & (t < spell[1])] = 1.0
    return on


def a_muscle(
    muscle: str = CALF,
    side: str = "left",
    *,
    acts_as: tuple[str, str] | None = None,
    burst_uv: float = 120.0,
    rest_uv: float = 2.5,
    rate_hz: float = RATE,
    seed: int | None = None,
    **changes: Any,
) -> Signal:
    """A good signal in uV. acts_as: muscle and side whose bursts it has, if not its own."""
    t = np.arange(round(TRIAL.duration_s * rate_hz)) / rate_hz
    seed = sum(map(ord, muscle + side)) if seed is None else seed
    gate = bursts(*(acts_as or (muscle, side)), t)
    samples = burst_uv * gate * band_noise(len(t), seed, rate_hz) + rest_uv * band_noise(len(t), seed + 1, rate_hz)
    signal = Signal("muscle", muscle, side, "uV", rate_hz, np.round(samples, 1), label=f"EMG {muscle[:3]} {side[0]}")
    return replace(signal, **changes)


def changed(signal: Signal, change: Any) -> Signal:
    """The signal with ``change(samples, t)`` for samples."""
    return replace(signal, samples=change(signal.samples.copy(), signal.times_s))


def four_muscles(**changes: Signal) -> tuple[Signal, ...]:
    """Calf and shin of both sides; ``changes`` replace some, by name such as soleus_left."""
    own = {f"{m}_{s}": a_muscle(m, s) for m in (CALF, SHIN) for s in ("left", "right")}
    return tuple((own | changes).values())


def a_switch(side: str = "left", *, late_s: float = 0.005, more_per_s: float = 0.0, **changes: Any) -> Signal:
    """A footswitch that closes ``late_s`` after contact, and later by ``more_per_s`` each second."""
    t = np.arange(round(TRIAL.duration_s * RATE)) / RATE
    at = t - late_s - more_per_s * t
    closed = np.any([(at >= start) & (at < end - 0.01) for start, end in CONTACTS[side]], axis=0)
    noise = np.random.default_rng(5).normal(0, 0.02, len(t))
    signal = Signal("foot_sensor", None, side, "V", RATE, 5.0 * closed + noise, label=f"FOOT {side[0]}")
    return replace(signal, **changes)


def with_signals(*signals: Signal, trial: Trial | None = None, clock: Any = None, **facts: Any) -> Context:
    """A running trial with these signals, its footfalls by force. clock: the row of ``clock_fits``."""
    own = replace(trial or TRIAL, signals=signals)
    channels = replace(ChannelFacts(named_count=len(signals), second_file=SECOND), **facts)
    work = Workspace(own, a_study().processing, clock=clock)
    return replace(of_trial(own), work=work, channels=channels)


def with_sensors(*signals: Signal, clock_basis: str | None = None) -> Context:
    """The same where the sensors' clock was matched by ``clock_basis``."""
    return with_signals(*signals, clock=a_clock(clock_basis=clock_basis) if clock_basis else None)


def a_clock(**changes: Any) -> dict[str, Any]:
    """A row of ``clock_fits``."""
    row = {
        "trial_id": "T1",
        "clock_offset_s": -0.5,
        "clock_drift_ppm": 40.0,
        "clock_drift_error_ppm": 20.0,
        "residual_s": 0.0005,
        "event_count": 20,
        "clock_basis": "shared_signal",
        "is_matched": True,
        "unmatched_reason": None,
    }
    return row | changes


def with_clock(**changes: Any) -> Context:
    """A trial whose second file was matched to it, by a row of ``clock_fits``."""
    return with_signals(a_muscle(source="sidecar"), clock=a_clock(**changes))
