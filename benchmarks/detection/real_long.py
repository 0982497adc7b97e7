"""Two more real runs as specimens: 8 s on a belt, and one pass over eight plates (``benchmarks.real_recordings``).

Real skin, real noise, many strides. Of the 30 s on the belt the first 8 are taken, so that a plant takes a second.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from benchmarks.detection.real import recording_of
from benchmarks.detection.specimens import Contact, Specimen
from benchmarks.real_recordings.recordings import Recorded, runway, study, there, treadmill
from pipelines.intake.c3d.reading import read_c3d

_BELT_S = 8.0
NAMES = ("belt", "eight plates")
#: What the recordings are known to have, so that a finding of it is no false alarm: forces that were set to zero below
#: a threshold before the export, a mass on another scale, and origins of plates against the convention.
KNOWN = ("empty_plates_keep_their_noise", "mean_vertical_force_is_body_weight", "file_structure_is_consistent")


@cache
def recorded() -> dict[str, Specimen]:
    """Name of a recording -> the specimen; none where the recordings are not on this machine."""
    if not there():
        return {}
    return dict(zip(NAMES, (_specimen(treadmill(), _BELT_S), _specimen(runway(), None)), strict=True))


def _specimen(one: Recorded, first_s: float | None) -> Specimen:
    read = read_c3d(one.job.path)
    rate = read.layout.point_rate_hz
    frames = len(read.points) if first_s is None else round(first_s * rate)
    names = {}
    for plate in read.plates:
        for column, axis in zip(plate.channels, ("Fx", "Fy", "Fz", "Mx", "My", "Mz"), strict=False):
            names[column] = f"P{plate.number}.{axis}"
    called = tuple(names.get(i, label) for i, label in enumerate(read.analog_labels))
    recording = recording_of(read, called, frames)
    footfalls = one.work.footfalls.records
    end = frames / rate
    contacts = [Contact(r["side"], r["contact_s"], r["toe_off_s"]) for r in footfalls if r["toe_off_s"] < end]
    ground = one.work.contacts.ground
    hit = sorted({1 + place for c in contacts for place in ground.loaded((c.contact_s + c.toe_off_s) / 2)})
    return Specimen(
        recording,
        tuple(contacts),
        replace(one.job.row, file=f"trials/{one.job.row.trial_id}.c3d"),
        one.job.profile,
        study(),
        posture=one.job.posture,
        plates_hit=tuple(hit),
    )
