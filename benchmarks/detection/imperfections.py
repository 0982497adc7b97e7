"""What a good recording still has: skin that moves, noise, short gaps, plates that are nearly zero."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from demo_site_uploads.simulator.labs import Recording
from demo_site_uploads.simulator.trial import SimulatedTrial

#: What varies between the clean trials, as the page tells it.
IMPERFECTIONS = (
    "speed 2.5 to 4.5 m/s, contact getting shorter with speed; stature 1.52 to 1.95 m, 18.5 to 26 kg/m2; three "
    "conditions, three visits, both directions on the runway",
    "markers: white noise of 0.2 to 0.45 mm; skin and shoe that move by 1 to 2.5 mm at the foot and 3 to 8 mm "
    "elsewhere (root mean square, below 8 Hz); in running one to three gaps of up to 0.05 s",
    "plates: zero off by up to 4 N and drifting by up to 3 N, gain off by up to 1 %, additional noise of up to 2 N, "
    "belt vibration of up to 3 N",
    "tables: mass off by up to 1 % (clothes, scales), set speed by up to 2 %",
)


def imperfect(recording: Recording, trial: SimulatedTrial, chance: np.random.Generator) -> Recording:
    """What a good laboratory's recording still has: see ``IMPERFECTIONS``."""
    points = _moving_skin(recording, chance, trial.kind == "running")
    gaps = int(chance.integers(1, 4)) if trial.kind == "running" else 0  # the others last less than a second or two
    for _ in range(gaps):
        length = int(chance.uniform(0.01, 0.05) * recording.point_rate_hz)
        first = int(chance.integers(1, len(points) - length - 1))
        points[first : first + length, chance.integers(points.shape[1])] = np.nan
    analog, t = recording.analog.copy(), np.linspace(0, 1, len(recording.analog))
    hum = 2 * np.pi * chance.uniform(15, 40) * len(t) / recording.analog_rate_hz * t
    for number, kind in enumerate(recording.plate_types, 1):
        columns = [i for i, label in enumerate(recording.analog_labels) if label.startswith(f"P{number}.")]
        analog[:, columns] *= chance.uniform(0.99, 1.01)
        zero = chance.uniform(-4, 4) + chance.uniform(-3, 3) * (t - 0.5)
        hum_n = chance.uniform(0, 3) * np.sin(hum) if recording.storage == "float" else 0.0  # the belt
        verticals = [i for i in columns if recording.analog_labels[i].split(".")[1].startswith("Fz")]
        for i in columns:
            force = not recording.analog_labels[i].split(".")[1].startswith("M")
            noise = chance.uniform(0, 2) * (1 if force else 200.0) / (2 if kind == 3 else 1)
            analog[:, i] += noise * chance.standard_normal(len(t))
        analog[:, verticals] += ((zero + hum_n) / max(1, len(verticals)))[:, None]
    return replace(recording, points=points, analog=analog)


def _moving_skin(recording: Recording, chance: np.random.Generator, running: bool) -> np.ndarray:
    from scipy.ndimage import gaussian_filter1d

    points = recording.points
    frames, count = points.shape[:2]
    unit = {"mm": 1.0, "m": 0.001}[recording.point_unit]
    noise = chance.uniform(0, 0.4) * chance.standard_normal(points.shape)
    if running:
        low = np.array([1.0 if _on_foot(label) else 3.0 for label in recording.labels])
        size = chance.uniform(low, np.where(low < 2, 2.5, 8.0))
        slow = gaussian_filter1d(chance.standard_normal((frames, count, 3)), recording.point_rate_hz / 40, axis=0)
        slow /= np.maximum(slow.std(axis=0), 1e-9)
        noise = noise + slow * size[:, None] / np.sqrt(3)
    return np.asarray(points + noise * unit)


def _on_foot(label: str) -> bool:
    return any(word in label.lower() for word in ("heel", "ball", "foot", "toe", "ank"))
