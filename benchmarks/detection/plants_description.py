"""Faults of what a recording says about itself: statements that disagree, plates half described, names given twice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator import edf_edit
from demo_site_uploads.simulator.c3d_edit import (
    header_word,
    parameter,
    renamed,
    scaled,
    with_header_float,
    with_header_word,
    with_parameter,
)
from demo_site_uploads.simulator.faults import labelled_twice, zeros_for_gaps


def _written(specimen: Specimen, change: Callable[[bytes], bytes]) -> Specimen:
    return replace(specimen, after_writing=change)


def _scale_off(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    factor = 1 + size / 100 * float(chance.choice([-1, 1]))
    if chance.random() < 0.5:
        return _written(specimen, lambda content: scaled(content, "POINT", "SCALE", factor))
    return _written(specimen, lambda content: with_header_float(content, 7, lambda scale: factor * scale))


def _rate_off(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    factor = 1 + size / 100 * float(chance.choice([-1, 1]))
    return _written(specimen, lambda content: with_header_float(content, 11, lambda rate: factor * rate))


def _frames_unread(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    def write(content: bytes) -> bytes:
        count = header_word(content, 5) - int(size)
        return with_parameter(with_header_word(content, 5, count), "POINT", "FRAMES", [count])

    return _written(specimen, write)


def _plate_half_described(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    what = str(chance.choice(["ORIGIN", "CHANNEL", "USED", "CORNERS"]))

    def write(content: bytes) -> bytes:
        if what == "ORIGIN":
            return renamed(content, "FORCE_PLATFORM", "ORIGIN", "ORIGAN")
        values = [*parameter(content, "FORCE_PLATFORM", what)]
        if what == "CHANNEL":
            values[1] = values[0]
        elif what == "USED":
            values[0] -= 1
        else:  # the first two corners exchanged
            values[:6] = values[3:6] + values[:3]
        return with_parameter(content, "FORCE_PLATFORM", what, values)

    return _written(specimen, write)


def _label_twice(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    label = str(chance.choice(specimen.mapped_labels))
    unit = {"mm": 1.0, "m": 0.001}[specimen.recording.point_unit]
    return specimen.faulty(labelled_twice(label, size * unit))


def _records_lost(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    assert specimen.second is not None
    records = int(specimen.second[236:244])
    at = int(chance.integers(1, records - int(size)))
    return replace(specimen, second=edf_edit.without_record(specimen.second, at, int(size)))


def _record_doubled(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    assert specimen.second is not None
    at = int(chance.integers(0, int(specimen.second[236:244]) - 1))
    return replace(specimen, second=edf_edit.doubled_record(specimen.second, at))


def _zeros(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    labels = tuple(str(label) for label in chance.choice(specimen.mapped_labels, 3, replace=False))
    return specimen.faulty(zeros_for_gaps(labels, float(chance.uniform(0.2, 0.6)), size / 1000))


PLANTS = (
    Plant(
        "file_agrees_with_itself",
        "header and POINT:SCALE differ by {size} in a file of integers",
        "%",
        (0.01, 1.0, 8.0),
        1.0,
        "every length is off by the same share; 1 % of a step is as much as footwear changes it",
        plant=_scale_off,
        sites=("corrie", "tarn"),
    ),
    Plant(
        "file_agrees_with_itself",
        "header and POINT:RATE differ by {size}",
        "%",
        (0.2, 1.0, 10.0),
        1.0,
        "every time is off by the same share; 1 % of a contact is some milliseconds",
        plant=_rate_off,
        real=True,
    ),
    Plant(
        "file_agrees_with_itself",
        "header and parameters leave the last {size} frames unread",
        "1",
        (1.0, 10.0, 40.0),
        40.0,
        "40 frames hold a contact; a few frames at the end hold none that is complete",
        plant=_frames_unread,
        real=True,
    ),
    Plant(
        "force_plates_are_described_in_full",
        "the origin is missing, a channel is named twice, one plate too few is counted, or corners are exchanged",
        "",
        PRESENT,
        1.0,
        "each of them moves the force or its place",
        plant=_plate_half_described,
        sites=("brack", "corrie"),
        real=True,
    ),
    Plant(
        "names_stand_for_one_thing",
        "a second marker, {size} away, has the label of a first",
        "mm",
        (1.0, 20.0, 200.0),
        20.0,
        "20 mm are a few degrees of an angle",
        plant=_label_twice,
        real=True,
    ),
    Plant(
        "second_file_agrees_with_itself",
        "{size} data records of 0.1 s of the second file are lost",
        "1",
        (1.0, 3.0),
        1.0,
        "a muscle's onset is 60 to 100 ms before contact",
        plant=_records_lost,
        sites=("tarn",),
        second=True,
    ),
    Plant(
        "second_file_agrees_with_itself",
        "a data record of 0.1 s of the second file is written twice",
        "",
        PRESENT,
        1.0,
        "a muscle's onset is 60 to 100 ms before contact",
        plant=_record_doubled,
        sites=("tarn",),
        second=True,
    ),
    Plant(
        "missing_positions_are_marked",
        "three markers stand at the laboratory's origin for {size}",
        "ms",
        (5.0, 20.0, 100.0),
        20.0,
        "one frame is a jump of a metre; it is read as a gap in any case",
        plant=_zeros,
        real=True,
    ),
)
