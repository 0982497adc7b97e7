"""Which signals beside markers and plates each laboratory records in the C3D file, and how channels.csv names them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator import sidecar
from demo_site_uploads.simulator.muscle import signal_uv
from demo_site_uploads.simulator.sensors import switch_v
from demo_site_uploads.simulator.trial import SimulatedTrial, random_source

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ChannelSpec:
    """One analog channel. unit: UCUM. gain: what the amplifier multiplied by, in file unit per unit of the signal.

    grid: the file's values are rounded to it; full_scale: largest value an integer file can hold.
    """

    label: str
    role: str
    muscle: str | None
    side: str
    unit: str
    gain: str | None
    grid: float
    full_scale: float

    def values(self, trial: SimulatedTrial, t: FloatArray, rate_hz: float) -> FloatArray:
        """What the file holds (n,), in ``unit``."""
        rng = random_source(f"{trial.trial_id}/channel/{self.label}")
        if self.role == "muscle":
            assert self.muscle is not None
            scale = {"uV": 1.0, "mV": 1e-3, "V": 1e-6}[self.unit] * float(self.gain or 1)
            return scale * signal_uv(trial.bursts, self.muscle, self.side, t, rate_hz, rng)
        return switch_v(trial.motion.steps if trial.motion else (), self.side, t, rng)


def _muscles(names: dict[str, str], pattern: str, unit: str, gain: str | None, grid: float) -> Iterator[ChannelSpec]:
    for side in ("left", "right"):
        for muscle, name in names.items():
            label = pattern.format(name=name, side=side[0].upper())
            yield ChannelSpec(label, "muscle", muscle, side, unit, gain, grid, grid * 32000)


def _switch(label: str, side: str, role: str = "foot_sensor") -> ChannelSpec:
    return ChannelSpec(label, role, None, side, "V", None, 1 / 64, 10.0)


_ALL = {"gastrocnemius_medialis": "gastroc", "soleus": "soleus", "tibialis_anterior": "tib_ant"}
_FEW = {"gastrocnemius_medialis": "GM", "tibialis_anterior": "TA"}  # this laboratory does not record the soleus
_CHANNELS: dict[str, tuple[ChannelSpec, ...]] = {
    "brack": (
        *_muscles(_ALL, "emg_{name}_{side}", "V", "1000", 2.0**-10),
        _switch("switch_L", "left"),
        _switch("switch_R", "right"),
    ),
    "corrie": tuple(_muscles(_FEW, "{side}.EMG.{name}", "uV", None, 0.5)),
    "tarn": (_switch("SYNC FOOT R", "right"),),
}


def channels_in(site: str, kind: str, muscles: bool = True) -> tuple[ChannelSpec, ...]:
    """The channels of a trial's C3D file: none standing, muscles only in a reference contraction.

    muscles: whether their amplifier was on.
    """
    if kind == "standing":
        return ()
    return tuple(c for c in _CHANNELS[site] if (muscles if c.role == "muscle" else kind == "running"))


def channel_rows(
    site: str, kind: str, trial_id: str, *, muscles: bool = True, second_file: bool = False
) -> list[dict[str, str | None]]:
    """The lines of channels.csv for one trial: those of the C3D file, then those of the second file."""
    rows = [
        {
            "trial_id": trial_id,
            "label": c.label,
            "role": c.role,
            "muscle": c.muscle,
            "side": c.side,
            "unit_code": c.unit,
            "amplifier_gain": c.gain,
        }
        for c in channels_in(site, kind, muscles)
    ]
    for label, (role, muscle, side) in sidecar.labels().items() if second_file else ():
        unit = "uV" if role == "muscle" else "V"
        row = {"trial_id": trial_id, "label": label, "role": role, "muscle": muscle, "side": side}
        rows.append(row | {"unit_code": unit, "amplifier_gain": None})
    return rows
