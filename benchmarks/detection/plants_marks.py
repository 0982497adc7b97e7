"""Faults of the contacts and toe-offs that a laboratory marks in its file."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Planting
from benchmarks.detection.specimens import Specimen

#: seconds, label, context
Mark = tuple[float, str, str]
_HAND_S = 0.004  # own choice: how far marks set by hand scatter
_CHECK = "event_marks_contradict_nothing"


def marked(specimen: Specimen, chance: np.random.Generator) -> Specimen:
    """The specimen with every whole contact within the recording marked as by hand."""
    recording = specimen.recording
    last_s = len(recording.points) / recording.point_rate_hz
    truth = [
        (moment + _HAND_S * chance.standard_normal(), label, contact.side.capitalize())
        for contact in specimen.contacts
        if contact.contact_s > 0.02 and contact.toe_off_s < last_s - 0.02
        for moment, label in ((contact.contact_s, "Foot Strike"), (contact.toe_off_s, "Foot Off"))
    ]
    return specimen.with_recording(events=tuple((float(t), label, side) for t, label, side in truth))


def _changed(change: Callable[[list[Mark], float, np.random.Generator], list[Mark]]) -> Planting:
    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        marks = list(marked(specimen, chance).recording.events)
        return specimen.with_recording(events=tuple(change(marks, size, chance)))

    return plant


def _sides_exchanged(marks: list[Mark], size: float, chance: np.random.Generator) -> list[Mark]:
    return [(t, label, "Left" if side == "Right" else "Right") for t, label, side in marks]


def _words_exchanged(marks: list[Mark], size: float, chance: np.random.Generator) -> list[Mark]:
    return [(t, "Foot Off" if "Strike" in label else "Foot Strike", side) for t, label, side in marks]


def _late(marks: list[Mark], size: float, chance: np.random.Generator) -> list[Mark]:
    by = size / 1000 * float(chance.choice([-1, 1]))
    return [(t + by, label, side) for t, label, side in marks]


def _twice(marks: list[Mark], size: float, chance: np.random.Generator) -> list[Mark]:
    t, label, side = marks[int(chance.integers(len(marks)))]
    return [*marks, (t + size / 1000, label, side)]


def _after_toe_off(marks: list[Mark], size: float, chance: np.random.Generator) -> list[Mark]:
    """One contact stands behind the toe-off that ends it."""
    at = 2 * int(chance.integers(len(marks) // 2))
    late = (marks[at + 1][0] + size / 1000, *marks[at][1:])
    return [*marks[:at], late, *marks[at + 1 :]]


def _beyond(marks: list[Mark], size: float, chance: np.random.Generator) -> list[Mark]:
    t, label, side = marks[-1]
    return [*marks, (t + size, label, side)]


PLANTS = (
    Plant(_CHECK, "left and right of all marks are exchanged", "", PRESENT, 1.0, "they name the wrong foot",
          plant=_changed(_sides_exchanged), real=True),
    Plant(_CHECK, "contact and toe-off of all marks are exchanged", "", PRESENT, 1.0, "they name the wrong event",
          plant=_changed(_words_exchanged), real=True),
    Plant(_CHECK, "all marks are {size} early or late", "ms", (20.0, 60.0, 300.0), 60.0, "a sixth of a contact",
          plant=_changed(_late), real=True),
    Plant(_CHECK, "one mark is set again {size} later", "ms", (20.0, 50.0), 50.0, "it is no second contact",
          plant=_changed(_twice), real=True),
    Plant(_CHECK, "one contact is marked {size} after the toe-off that ends it", "ms", (20.0, 60.0), 60.0,
          "nobody lands after leaving", plant=_changed(_after_toe_off), real=True),
    Plant(_CHECK, "one mark lies {size} later than the last", "s", (60.0, 1e6), 60.0, "no trial is so long",
          plant=_changed(_beyond), real=True),
)  # fmt: skip
