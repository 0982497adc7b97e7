"""Faults of how a trial was recorded or stored: rates, unit, labels, plates, file."""

from __future__ import annotations

import struct
from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator.c3d_writer import parameter_at
from demo_site_uploads.simulator.faults import name_in_the_note


def _rate_wrong(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    factor = 1 + size / 100 * chance.choice([-1, 1])
    recording = specimen.recording
    return specimen.with_recording(
        point_rate_hz=recording.point_rate_hz * factor, analog_rate_hz=recording.analog_rate_hz * factor
    )


def _unit_wrong(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    factor = size ** float(chance.choice([-1, 1]))
    largest = 32000 * specimen.recording.point_grid  # what 16 bits hold
    points = specimen.recording.points * factor
    if specimen.recording.storage == "integer":
        points = np.clip(points, -largest, largest)
    return specimen.with_recording(points=points)


def _label_missing(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    roles = [r for r in specimen.study.roles_with_side(required_only=True) if r in specimen.profile.markers]
    lost = {specimen.label(str(role)) for role in chance.choice(roles, int(size), replace=False)}
    labels = tuple(f"unnamed_{i}" if x in lost else x for i, x in enumerate(specimen.recording.labels))
    return specimen.with_recording(labels=labels)


def _plate_left_out(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    recording = specimen.recording
    last = len(recording.plate_types)
    gone = set(specimen.columns(last))
    kept = [i for i in range(len(recording.analog_labels)) if i not in gone]
    if not kept:  # a file without any analog channel would say more than this
        return specimen.with_recording(plate_types=(), corners=(), origins=())
    return specimen.with_recording(
        analog=recording.analog[:, kept],
        analog_labels=tuple(recording.analog_labels[i] for i in kept),
        analog_units=tuple(recording.analog_units[i] for i in kept),
        full_scale=recording.full_scale[kept],
        analog_grid=recording.analog_grid[kept],
        plate_types=recording.plate_types[:-1],
        corners=recording.corners[:-1],
        origins=recording.origins[:-1],
    )


def _frames_miscounted(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    def write(content: bytes) -> bytes:
        place, width, _ = parameter_at(content, "POINT", "FRAMES")
        form = {2: "<h", 4: "<f"}[width]
        (frames,) = struct.unpack_from(form, content, place)
        return content[:place] + struct.pack(form, frames + int(size)) + content[place + width :]

    return replace(specimen, after_writing=write)


def _cut_off(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return replace(specimen, after_writing=lambda content: content[: int(len(content) * (1 - size / 100))])


def _named(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return replace(specimen, after_writing=name_in_the_note)


PLANTS = (
    Plant(
        "marker_rate_is_the_sites",
        "the cameras run at another rate than the profile states, by {size}",
        "%",
        (0.2, 1.0, 5.0, 50.0),
        1.0,
        "every time and every speed is off by the same share; 1 % of a step is some milliseconds, as much as footwear "
        "changes contact time",
        plant=_rate_wrong,
        real=True,
    ),
    Plant(
        "force_rate_is_the_sites",
        "the force converter runs at another rate than the profile states, by {size}",
        "%",
        (0.2, 1.0, 5.0, 50.0),
        1.0,
        "contact times are off by the same share; 1 % of a contact is some milliseconds, as much as footwear changes it",
        plant=_rate_wrong,
        sites=("brack", "corrie"),
        real=True,
    ),
    Plant(
        "positions_are_in_the_stated_unit",
        "positions are in another unit than the file states, {size} times too large or too small",
        "1",
        (2.54, 10.0, 1000.0),
        10.0,
        "centimetres, millimetres and metres differ by powers of ten",
        plant=_unit_wrong,
        real=True,
    ),
    Plant(
        "required_markers_are_labelled",
        "{size} of the required markers have no label",
        "1",
        (1.0, 3.0),
        1.0,
        "one missing marker is enough to lose its segment",
        plant=_label_missing,
        real=True,
    ),
    Plant(
        "plates_are_those_of_the_site",
        "the last plate is left out of the export",
        "",
        PRESENT,
        1.0,
        "a contact becomes a flight",
        plant=_plate_left_out,
        sites=("brack", "corrie"),
        real=True,
    ),
    Plant(
        "file_structure_is_consistent",
        "POINT:FRAMES counts {size} frames that are not in the file",
        "1",
        (1.0, 10.0),
        10.0,
        "two programs read two lengths; where fewer frames may fit into the file's filling, file_agrees_with_itself says so",
        plant=_frames_miscounted,
        real=True,
    ),
    Plant(
        "trial_file_can_be_read",
        "the last {size} of the file's bytes are missing",
        "%",
        (1.0, 5.0, 40.0, 90.0),
        1.0,
        "the last contact of a trial may lie in its last hundredth",
        plant=_cut_off,
        real=True,
    ),
    Plant(
        "trial_files_identify_nobody",
        "a note in the file holds a name",
        "",
        PRESENT,
        1.0,
        "one name is enough; how many wordings are found is measured by python -m benchmarks.identifiers",
        plant=_named,
        real=True,
    ),
)
