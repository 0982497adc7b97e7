"""Muscle activity: when each muscle is on, how strongly, and what an amplifier makes of it.

Directions follow common practice: towards unshod the calf is on earlier before contact and works harder, the shin
less. Sizes are ours. The signal is noise of a surface electromyogram's spectrum times a gate that is exactly zero
outside the bursts, plus the amplifier's own noise, so onset, offset and amplitude are known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.steps import Step

FloatArray = NDArray[np.float64]

CALF, SHIN = "calf", "shin"
GROUPS = {"gastrocnemius_medialis": CALF, "soleus": CALF, "tibialis_anterior": SHIN}
PLATEAU_UV = {"gastrocnemius_medialis": 140.0, "soleus": 110.0, "tibialis_anterior": 120.0}
BASELINE_UV = 2.5  # root mean square of amplifier and skin
BAND_HZ = (20.0, 450.0)
RISE_S, FALL_S = 0.020, 0.050  # of a burst's gate: half a raised cosine each
CONTRACTION_GAIN = 1.6  # a reference contraction against the plateau of cushioned running
_LEAD_S = {
    CALF: {"cushioned": 0.045, "thin_soled": 0.062, "unshod": 0.085},
    SHIN: {"cushioned": 0.190, "thin_soled": 0.180, "unshod": 0.165},
}
_STRENGTH = {
    CALF: {"cushioned": 1.00, "thin_soled": 1.10, "unshod": 1.25},
    SHIN: {"cushioned": 1.00, "thin_soled": 0.88, "unshod": 0.75},
}
_END_SHARE = {  # of contact
    CALF: {"cushioned": 0.66, "thin_soled": 0.67, "unshod": 0.68},
    SHIN: {"cushioned": 0.14, "thin_soled": 0.10, "unshod": 0.06},
}


@dataclass(frozen=True)
class TrueBurst:
    """One burst of one muscle. amplitude_uv: root mean square of the plateau. contact_s: None in a contraction."""

    muscle: str
    side: str
    contact_s: float | None
    onset_s: float
    offset_s: float
    amplitude_uv: float

    def gate(self, t: FloatArray) -> FloatArray:
        """Part of the amplitude at times t, 0 to 1."""
        up = np.clip((t - self.onset_s) / RISE_S, 0, 1)
        down = np.clip((self.offset_s - t) / FALL_S, 0, 1)
        return (1 - np.cos(np.pi * np.minimum(up, down))) / 2


def running_bursts(
    steps: tuple[Step, ...], condition: str, electrodes: dict[tuple[str, str], float], rng: np.random.Generator
) -> tuple[TrueBurst, ...]:
    """One burst of every muscle for each footfall of its side. electrodes: muscle and side -> factor on amplitude."""
    bursts = []
    for step in steps:
        for muscle, group in GROUPS.items():
            jitter = rng.standard_normal(2)
            strength = _STRENGTH[group][condition] * electrodes[muscle, step.side] * (1 + 0.06 * jitter[0])
            bursts.append(
                TrueBurst(
                    muscle,
                    step.side,
                    step.contact_s,
                    step.contact_s - _LEAD_S[group][condition] + 0.004 * float(jitter[1]),
                    step.contact_s + _END_SHARE[group][condition] * step.contact_time_s,
                    PLATEAU_UV[muscle] * float(strength),
                )
            )
    return tuple(bursts)


def contraction_bursts(electrodes: dict[tuple[str, str], float]) -> tuple[TrueBurst, ...]:
    """Rising on the toes for 0.6 s, then pulling them up for 0.6 s."""
    span = {CALF: (0.1, 0.7), SHIN: (0.8, 1.4)}
    return tuple(
        TrueBurst(muscle, side, None, *span[GROUPS[muscle]], CONTRACTION_GAIN * PLATEAU_UV[muscle] * factor)
        for (muscle, side), factor in electrodes.items()
    )


def electrode_factors(rng: np.random.Generator) -> dict[tuple[str, str], float]:
    """What skin and electrodes of one session make of each muscle's amplitude: why amplitudes need a reference."""
    return {(m, s): float(np.exp(0.25 * rng.standard_normal())) for m in GROUPS for s in ("left", "right")}


def signal_uv(
    bursts: tuple[TrueBurst, ...], muscle: str, side: str, t: FloatArray, rate_hz: float, rng: np.random.Generator
) -> FloatArray:
    """The muscle's signal (n,) in uV at times t on the trial's clock."""
    active = electromyogram(len(t), rate_hz, rng) * amplitude_uv(bursts, muscle, side, t)
    return active + BASELINE_UV * electromyogram(len(t), rate_hz, rng)


def amplitude_uv(bursts: tuple[TrueBurst, ...], muscle: str, side: str, t: FloatArray) -> FloatArray:
    """Root mean square of the muscle's own activity at each moment (n,), without the baseline."""
    level = np.zeros(len(t))
    for burst in bursts:
        if burst.muscle == muscle and burst.side == side:
            level = np.maximum(level, burst.amplitude_uv * burst.gate(t))
    return level


def electromyogram(count: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """Gaussian noise (count,) with root mean square 1 and the spectrum of a surface electromyogram within the band.

    Power f^2 / ((f^2 + 60^2) (f^2 + 120^2)^2), a usual shape of the spectrum (from memory: Stulen & De Luca 1981).
    """
    length = 1 << max(count - 1, 1).bit_length()
    f = np.fft.rfftfreq(length, 1 / rate_hz)
    size = f / (np.sqrt(f**2 + 60.0**2) * (f**2 + 120.0**2))
    size[(f < BAND_HZ[0]) | (f > BAND_HZ[1])] = 0.0
    size *= np.sqrt(length / np.sum(size**2) / 2)  # so that the mean square is 1 over all draws
    spectrum = np.fft.rfft(rng.standard_normal(length)) * size
    return np.asarray(np.fft.irfft(spectrum, length)[:count])
