"""The second file of a trial: EDF+ with muscles and footswitches on a clock of its own, written with edfio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_site_uploads.simulator.muscle import signal_uv
from demo_site_uploads.simulator.sensors import switch_v
from demo_site_uploads.simulator.trial import SimulatedTrial, random_source

RATE_HZ = 1000
RECORD_S = 0.1
UV_PER_COUNT, V_PER_COUNT = 0.5, 0.01
STARTED_BEFORE_S = (0.35, 0.90)
GOES_ON_S = 0.2
DRIFT_PPM = 40.0  # how much longer the device's second is
MUSCLES = {
    "gastrocnemius_medialis": "EMG GM",
    "soleus": "EMG SOL",
    "tibialis_anterior": "EMG TA",
}
SWITCH = "FOOT"
NOTE = "Invented data of a simulated runner"
_SIDES = {"left": "L", "right": "R"}


@dataclass(frozen=True)
class TrueClock:
    """trial time = offset_s + (1 + drift_ppm / 1e6) x time of the second file."""

    offset_s: float
    drift_ppm: float

    def trial_time(self, own_s: np.ndarray) -> np.ndarray:
        """Times of the second file on the trial's clock, s."""
        return self.offset_s + (1 + self.drift_ppm / 1e6) * own_s


def clock_of(trial: SimulatedTrial) -> TrueClock:
    """When the second recorder was started, and how its clock runs."""
    rng = random_source(trial.trial_id + "/clock")
    return TrueClock(-float(rng.uniform(*STARTED_BEFORE_S)), DRIFT_PPM + 5 * float(rng.standard_normal()))


def labels() -> dict[str, tuple[str, str | None, str]]:
    """Label -> role, muscle, side of every signal in the file."""
    found: dict[str, tuple[str, str | None, str]] = {}
    for side, letter in _SIDES.items():
        found |= {f"{name} {letter}": ("muscle", muscle, side) for muscle, name in MUSCLES.items()}
        found[f"{SWITCH} {letter}"] = ("foot_sensor", None, side)
    return found


def edf_bytes(trial: SimulatedTrial, clock: TrueClock | None = None) -> bytes:
    """The whole file; names nobody and no day, in the anonymised form that EDF+ provides."""
    import edfio

    if trial.motion is None:
        raise ValueError(f"{trial.trial_id} is not a running trial")
    clock = clock or clock_of(trial)
    records = int(np.ceil((trial.duration_s + GOES_ON_S - clock.offset_s) / RECORD_S))
    t = clock.trial_time(np.arange(round(records * RECORD_S * RATE_HZ)) / RATE_HZ)
    signals = []
    for label, (role, muscle, side) in labels().items():
        rng = random_source(f"{trial.trial_id}/sidecar/{label}")
        if role == "muscle":
            assert muscle is not None
            values, step, unit = signal_uv(trial.bursts, muscle, side, t, RATE_HZ, rng), UV_PER_COUNT, "uV"
        else:
            values, step, unit = switch_v(trial.motion.steps, side, t, rng), V_PER_COUNT, "V"
        limits = (-32768 * step, 32767 * step)
        values = np.clip(np.round(values / step) * step, *limits)
        signals.append(edfio.EdfSignal(values, RATE_HZ, label=label, physical_dimension=unit, physical_range=limits))
    recording = edfio.Recording(additional=("Invented",))
    file = edfio.Edf(
        signals,
        patient=edfio.Patient(),
        recording=recording,
        data_record_duration=RECORD_S,
        annotations=[edfio.EdfAnnotation(0.0, None, NOTE)],  # which also makes it EDF+
    )
    return bytes(file.to_bytes())
