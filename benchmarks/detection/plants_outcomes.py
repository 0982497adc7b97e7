"""Faults that show in what is computed: too few footfalls, no running, hops, another speed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator.runner import Gait


def _too_short(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The recording ends in flight after so many footfalls fewer than six."""
    whole = [c for c in specimen.contacts if c.contact_s > 0.02]
    wanted = 6 - int(size)
    end_s = (whole[wanted - 1].toe_off_s + whole[wanted].contact_s) / 2
    recording = specimen.recording
    frames = round(end_s * recording.point_rate_hz)
    samples = frames * round(recording.analog_rate_hz / recording.point_rate_hz)
    return specimen.with_recording(points=recording.points[:frames], analog=recording.analog[:samples])


def _shuffling(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    def shuffle(gait: Gait) -> Gait:
        return Gait(size, 0.055, 0.045, 0.6, 5.0, 0.2, 0.12, gait.sole_m)

    return specimen.again(gait=shuffle, speed=1.8, duration_s=4.0)


def _hop(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.again(hop_at=int(chance.integers(2, 5)))


def _another_speed(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    stated = (specimen.row.set_speed_m_per_s or 3.0) / (1 + size / 100 * chance.choice([-1, 1]))
    return replace(specimen, row=replace(specimen.row, set_speed_m_per_s=round(stated, 2)))


PLANTS = (
    Plant(
        "enough_footfalls_are_complete",
        "the treadmill recording is {size} footfalls short of six",
        "1",
        (1.0, 2.0, 4.0),
        1.0,
        "the limit is a count, so one too few is one too few",
        plant=_too_short,
        sites=("brack",),
    ),
    Plant(
        "contact_times_are_credible",
        "the runner shuffles, with contacts of {size}",
        "s",
        (0.40, 0.44, 0.48, 0.52),
        0.48,
        "as long as a slow walker's single support; below 0.45 s it may still be the slowest jog",
        plant=_shuffling,
        sites=("brack",),
    ),
    Plant(
        "sides_alternate",
        "the runner hops once on the same foot",
        "",
        PRESENT,
        1.0,
        "step times and differences between the legs are wrong",
        plant=_hop,
        sites=("brack",),
    ),
    Plant(
        "speed_keeps_to_the_protocol",
        "the runner goes {size} faster or slower than the table says",
        "%",
        (5.0, 10.0, 15.0, 20.0, 30.0),
        15.0,
        "half a metre per second: contact time and loading rate change by as much as between shoes",
        plant=_another_speed,
        real=True,
    ),
)
