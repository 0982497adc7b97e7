"""Faults of time: pieces cut out of a recording, and markers that are later than others."""

from __future__ import annotations

import numpy as np

from benchmarks.detection.plants import Plant
from benchmarks.detection.specimens import Specimen

#: Roles of the markers of a foot, without the ankle's.
_FOOT = ("calcaneus", "metatarsal_head")


def _frames_cut(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """Frames, and the samples of their time, are gone somewhere in the inner part of the recording."""
    recording, count = specimen.recording, int(size)
    per = round(recording.analog_rate_hz / recording.point_rate_hz)
    first = int(chance.integers(len(recording.points) // 4, 3 * len(recording.points) // 4))
    analog = recording.analog
    if len(analog):
        analog = np.delete(analog, np.s_[first * per : (first + count) * per], axis=0)
    points = np.delete(recording.points, np.s_[first : first + count], axis=0)
    return specimen.with_recording(points=points, analog=analog)


def _force_cut(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """Samples of force are gone between two contacts in the middle; at the end the last ones stand once more, reversed."""
    recording = specimen.recording
    rate, count = recording.analog_rate_hz, round(size / 1000 * recording.analog_rate_hz)
    inner = [
        c
        for c in specimen.contacts
        if c.contact_s > 0 and c.toe_off_s < len(recording.points) / recording.point_rate_hz
    ]
    before = inner[len(inner) // 2 - 1]
    first = round((before.toe_off_s + 0.01) * rate)
    cut = np.delete(recording.analog, np.s_[first : first + count], axis=0)
    return specimen.with_recording(analog=np.concatenate([cut, cut[::-1][:count]]))


def _foot_late(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    recording = specimen.recording
    points = recording.points.copy()
    frames, late = np.arange(len(points)), size / 1000 * recording.point_rate_hz
    for role, label in specimen.profile.markers.items():
        if any(part in role for part in _FOOT) and label in recording.labels:
            column = recording.marker(label)
            points[:, column] = np.stack([np.interp(frames - late, frames, one) for one in points[:, column].T], axis=1)
    return specimen.with_recording(points=points)


PLANTS = (
    Plant("no_frames_are_missing_untold", "so many frames are cut out in the middle: {size}", "1",
          (1.0, 2.0, 4.0), 1.0, "a stride across them is 4 to 7 ms too short", plant=_frames_cut, real=True),
    Plant("force_and_markers_stay_together", "{size} of force are cut out in the middle", "ms", (5.0, 10.0, 20.0), 10.0,
          "half of it shows as a delay on average, below what is allowed", plant=_force_cut, sites=("brack", "corrie"),
          real=True),
    Plant("markers_of_a_foot_move_together", "the markers of the feet, but not of the ankles, are {size} late", "ms",
          (3.0, 5.0, 10.0), 10.0, "contact by markers and strike angles move with it", plant=_foot_late, real=True),
)  # fmt: skip
