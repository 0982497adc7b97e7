"""Planted faults in the second file: muscles, foot sensors and the recorder's clock. One small function for each.

A fault takes one channel as the recorder holds it and returns it changed; ``second_file`` writes the file anew. Sizes
are parameters; what size matters, and why, stands with each.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator import sidecar
from demo_site_uploads.simulator.muscle import electromyogram
from demo_site_uploads.simulator.sensors import CLOSED_V, NOISE_V
from demo_site_uploads.simulator.sidecar import TrueClock
from demo_site_uploads.simulator.trial import SimulatedTrial, random_source

if TYPE_CHECKING:
    from edfio import EdfSignal

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Recorded:
    """One channel of the second file. values: (n,) in its unit. t: (n,) s, the trial's clock at each sample.

    step: of the converter, in that unit. trial: what really happened.
    """

    label: str
    values: FloatArray
    t: FloatArray
    rate_hz: float
    unit: str
    step: float
    trial: SimulatedTrial

    @property
    def noise(self) -> np.random.Generator:
        """Random numbers of this channel's fault."""
        return random_source(f"{self.trial.trial_id}/fault/{self.label}")

    def contacts(self, side: str) -> list[tuple[float, float]]:
        """Contact and toe-off of the true footfalls of one side, s on the trial's clock."""
        return [(f.contact_s, f.toe_off_s) for f in self.trial.footfalls if f.side == side]


#: Q, R, S and T wave: s after the beat, width in s, height of the whole.
HEARTBEAT = ((-0.025, 0.010, -0.15), (0.0, 0.011, 1.0), (0.026, 0.012, -0.3), (0.2, 0.04, 0.2))
ChannelFault = Callable[[Recorded], Recorded]


def second_file(
    trial: SimulatedTrial,
    faults: Mapping[str, tuple[ChannelFault, ...]],
    *,
    drift_ppm: float = sidecar.DRIFT_PPM,
    ends_early_s: float = 0.0,
    copies: Mapping[str, str] | None = None,
) -> bytes:
    """The EDF+ file with faults by label. copies: label -> label of the channel whose input was exported in its place.

    drift_ppm: how much longer the recorder's second is; two quartz clocks reach 200, so 450 is a rate that is wrong.
    ends_early_s: what the file lacks at its end; 0.1 s is half a contact.
    """
    import edfio

    clock = replace(sidecar.clock_of(trial), drift_ppm=drift_ppm)
    edf = edfio.read_edf(io.BytesIO(sidecar.edf_bytes(trial, clock)))
    records = edf.num_data_records - int(np.ceil(ends_early_s / sidecar.RECORD_S))
    if ends_early_s:  # the file goes on for a while after the trial
        records -= round(sidecar.GOES_ON_S / sidecar.RECORD_S)
    channels = {s.label: _recorded(s, trial, clock, records) for s in edf.signals}
    for label, source in (copies or {}).items():
        channels[label] = replace(channels[source], label=label)
    for label, planted in faults.items():
        channels.setdefault(label, _unused(label, channels["FOOT L"]))
        for fault in planted:
            channels[label] = fault(channels[label])
    written = edfio.Edf(
        [_signal(channel) for channel in channels.values()],
        patient=edfio.Patient(),
        recording=edfio.Recording(additional=("Invented",)),
        data_record_duration=sidecar.RECORD_S,
        annotations=[edfio.EdfAnnotation(0.0, None, sidecar.NOTE)],
    )
    return bytes(written.to_bytes())


def _recorded(signal: EdfSignal, trial: SimulatedTrial, clock: TrueClock, records: int) -> Recorded:
    rate = float(signal.sampling_frequency)
    values = np.array(signal.data, np.float64)[: round(records * sidecar.RECORD_S * rate)]
    unit = str(signal.physical_dimension)
    step = sidecar.UV_PER_COUNT if unit == "uV" else sidecar.V_PER_COUNT
    t = np.asarray(clock.trial_time(np.arange(len(values)) / rate))
    return Recorded(str(signal.label), values, t, rate, unit, step, trial)


def _unused(label: str, like: Recorded) -> Recorded:
    """One more footswitch, under a foot that has one already, that never closes."""
    noise = random_source(f"{like.trial.trial_id}/sidecar/{label}")
    return replace(like, label=label, values=NOISE_V * noise.standard_normal(len(like.values)))


def _signal(channel: Recorded) -> EdfSignal:
    import edfio

    limits = (-32768 * channel.step, 32767 * channel.step)
    values = np.clip(np.round(channel.values / channel.step) * channel.step, *limits)
    return edfio.EdfSignal(
        values, channel.rate_hz, label=channel.label, physical_dimension=channel.unit, physical_range=limits
    )


# --- muscles ---------------------------------------------------------------------------------------------------------


def humming(size_uv: float, mains_hz: float = 50.0) -> ChannelFault:
    """Mains with its third harmonic. 7 uV root mean square are three times the noise of a good electrode."""

    def plant(x: Recorded) -> Recorded:
        wave = np.sin(2 * np.pi * mains_hz * x.t) + 0.3 * np.sin(6 * np.pi * mains_hz * x.t + 1)
        return replace(x, values=x.values + size_uv * wave / np.sqrt(0.5 * (1 + 0.3**2)))

    return plant


def moved(size_uv: float, side: str) -> ChannelFault:
    """The lead swings at 8 Hz after each contact and comes to rest. It matters once it outgrows the muscle's bursts."""

    def plant(x: Recorded) -> Recorded:
        values = x.values.copy()
        for contact, _ in x.contacts(side):
            since = np.clip(x.t - contact, 0, None)
            values += size_uv * np.sin(2 * np.pi * 8 * since) * np.exp(-since / 0.10) * (x.t > contact)
        return replace(x, values=values)

    return plant


def with_heartbeats(size_uv: float, per_min: float) -> ChannelFault:
    """The reference electrode came off and the heart shows, QRS and T wave; 60 uV are half of a calf's bursts."""

    def plant(x: Recorded) -> Recorded:
        values = x.values.copy()
        for beat in np.arange(x.t[0] + 0.11, x.t[-1], 60 / per_min):
            for after, width, height in HEARTBEAT:
                values += size_uv * height * np.exp(-0.5 * ((x.t - beat - after) / width) ** 2)
        return replace(x, values=values)

    return plant


def noisy(size_uv: float) -> ChannelFault:
    """Dry skin: noise of a muscle's band all the time. A third of the bursts' size hides their beginning."""

    def plant(x: Recorded) -> Recorded:
        return replace(x, values=x.values + size_uv * electromyogram(len(x.values), x.rate_hz, x.noise))

    return plant


def lead_off(size_uv: float = 2.5) -> ChannelFault:
    """The lead came off: only the amplifier's noise is left."""

    def plant(x: Recorded) -> Recorded:
        return replace(x, values=size_uv * electromyogram(len(x.values), x.rate_hz, x.noise))

    return plant


def rectified(x: Recorded) -> Recorded:
    """The export took the sign off."""
    return replace(x, values=np.abs(x.values))


def low_passed(cutoff_hz: float) -> ChannelFault:
    """A low-pass of another purpose; 150 Hz take a quarter of a calf's power."""

    def plant(x: Recorded) -> Recorded:
        spectrum = np.fft.rfft(x.values)
        f = np.fft.rfftfreq(len(x.values), 1 / x.rate_hz)
        return replace(x, values=np.fft.irfft(spectrum / np.sqrt(1 + (f / cutoff_hz) ** 16), len(x.values)))

    return plant


def thinned_out(rate_hz: float) -> ChannelFault:
    """The channel was exported at a lower rate; 960 Hz is just above twice the band's upper edge."""

    def plant(x: Recorded) -> Recorded:
        t = np.arange(round(len(x.values) / x.rate_hz * rate_hz)) / rate_hz * x.rate_hz
        own = np.arange(len(x.values))
        return replace(x, values=np.interp(t, own, x.values), t=np.interp(t, own, x.t), rate_hz=rate_hz)

    return plant


def coarse(step_uv: float) -> ChannelFault:
    """The input range was far too large. Steps of 25 uV are a fifth of a calf's bursts and ten times the resting noise."""

    def plant(x: Recorded) -> Recorded:
        return replace(x, values=np.round(x.values / step_uv) * step_uv)

    return plant


def with_spikes(size_uv: float, count: int) -> ChannelFault:
    """Static discharge: single samples. Fifteen times the bursts doubles the amplitude of a window of 0.1 s."""

    def plant(x: Recorded) -> Recorded:
        values = x.values.copy()
        inside = np.flatnonzero((x.t > 0.3) & (x.t < x.t[-1] - 0.6))
        values[x.noise.choice(inside, count, replace=False)] += size_uv
        return replace(x, values=values)

    return plant


# --- packets, sensors ------------------------------------------------------------------------------------------------


def packets_lost(length_s: float, count: int) -> ChannelFault:
    """The transmitter lost packets and the receiver held the last value. 24 ms are two packets of a usual device."""

    def plant(x: Recorded) -> Recorded:
        values = x.values.copy()
        length = round(length_s * x.rate_hz)
        for start in np.linspace(0.2, 0.8, count) * len(values):
            values[int(start) : int(start) + length] = values[int(start)]
        return replace(x, values=values)

    return plant


def block_twice(length_s: float, at_share: float) -> ChannelFault:
    """One buffer was written twice, the second time over what should follow. 100 ms are a usual buffer."""

    def plant(x: Recorded) -> Recorded:
        values = x.values.copy()
        length, start = round(length_s * x.rate_hz), round(at_share * len(values))
        values[start + length : start + 2 * length] = values[start : start + length]
        return replace(x, values=values)

    return plant


def late(seconds: float, more_per_s: float = 0.0) -> ChannelFault:
    """A wireless sensor is late, and later by ``more_per_s`` each second. 45 ms are more than methods differ by."""

    def plant(x: Recorded) -> Recorded:
        delayed = x.t - seconds - more_per_s * np.clip(x.t, 0, None)
        values = np.interp(delayed, x.t, x.values)
        before = np.round(x.values[0] / CLOSED_V) * CLOSED_V + x.noise.normal(0, NOISE_V, len(x.t))
        return replace(x, values=np.where(delayed < x.t[0], before, values))

    return plant


def polled(times_per_s: float) -> ChannelFault:
    """The recorder asks its switch only so often. 110 times a second leave 2.6 ms (9 ms over the root of 12)."""

    def plant(x: Recorded) -> Recorded:
        own = np.arange(len(x.values)) / x.rate_hz
        asked = np.minimum(np.ceil(own * times_per_s) / times_per_s * x.rate_hz, len(own) - 1).astype(int)
        level = np.where(x.values[asked] > CLOSED_V / 2, CLOSED_V, 0.0)
        return replace(x, values=level + x.noise.normal(0, NOISE_V, len(own)))

    return plant


def contact_missed(side: str, which: int) -> ChannelFault:
    """The switch does not close at one contact."""

    def plant(x: Recorded) -> Recorded:
        contact, toe_off = x.contacts(side)[which]
        spell = (x.t > contact - 0.05) & (x.t < toe_off + 0.05)
        return replace(x, values=np.where(spell, x.noise.normal(0, NOISE_V, len(x.t)), x.values))

    return plant
