"""Faults that make force and feet belong elsewhere: plates that stand for one another, and mirrored markers."""

from __future__ import annotations

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant
from benchmarks.detection.specimens import Specimen


def _plates_exchanged(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The signals of two plates of one type, or their corners."""
    first, second, *others = specimen.recording.corners
    if chance.random() < 0.5:
        return specimen.with_recording(corners=(second, first, *others))
    analog = specimen.recording.analog.copy()
    one, other = specimen.columns(1), specimen.columns(2)
    analog[:, [*one, *other]] = analog[:, [*other, *one]]
    return specimen.with_recording(analog=analog)


def _mirrored(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The axis of the laboratory that goes to the right has the other sign in the markers."""
    signs = np.ones(3)
    signs["xyz".index(specimen.profile.axes.right[1])] = -1.0
    return specimen.with_recording(points=specimen.recording.points * signs)


def _moved(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.with_recording(analog=np.roll(specimen.recording.analog, int(chance.choice([-1, 1])), axis=1))


PLANTS = (
    Plant(
        "channels_hold_their_own_signals",
        "every analog channel holds the signal of the one beside it",
        "",
        PRESENT,
        1.0,
        "moments are read as forces and forces as moments",
        plant=_moved,
        sites=("brack", "corrie"),
        muscles=True,
    ),
    Plant(
        "force_fits_no_better_elsewhere",
        "the signals of two plates, or their corners, are exchanged",
        "",
        PRESENT,
        1.0,
        "every centre of pressure lies a plate's length away from the foot",
        plant=_plates_exchanged,
        sites=("corrie",),
    ),
    Plant(
        "force_fits_no_better_elsewhere",
        "the sideways axis of the markers, and not that of the plates, is turned round",
        "",
        PRESENT,
        1.0,
        "left is right, and force lies under no foot",
        plant=_mirrored,
        sites=("brack", "corrie"),
    ),
)
