"""Faults of force plates that show in directions, places, samples, noise, and against the markers."""

from __future__ import annotations

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Planting
from benchmarks.detection.plants_force import WITH_PLATES
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator import faults_force as faults


def _hit(specimen: Specimen, chance: np.random.Generator, c3d_type: int | None = None) -> int:
    """One plate that a foot hit, of the given type if one is."""
    types = specimen.recording.plate_types
    fit = [p for p in specimen.plates_hit if c3d_type is None or types[p - 1] == c3d_type]
    return int(chance.choice(fit))


#: Stands for the channels of a plate that lie along the way of running.
FORE_AFT = "fore-aft"


def _scaled(start: str, *, c3d_type: int | None = None) -> Planting:
    """A plant that multiplies channels of one plate by the size."""

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        analog = specimen.recording.analog.copy()
        plate = _hit(specimen, chance, c3d_type)
        columns = specimen.columns(plate, specimen.fore_aft(plate) if start == FORE_AFT else start)
        analog[:, columns] *= size
        scale = specimen.recording.full_scale.copy()
        scale[columns] *= max(1.0, abs(size))  # the converter's range would hide the fault
        return specimen.with_recording(analog=analog, full_scale=scale)

    return plant


def _turned(start: str, *, c3d_type: int | None = None) -> Planting:
    """A plant that turns the polarity of channels of one plate."""
    scale = _scaled(start, c3d_type=c3d_type)
    return lambda specimen, size, chance: scale(specimen, -1.0, chance)


def _corners_off(axis: str) -> Planting:
    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        off = np.zeros(3)
        off["xyz".index(getattr(specimen.profile.axes, axis)[1])] = 1000 * size * chance.choice([-1, 1])
        return specimen.faulty(faults.corners_off(_hit(specimen, chance), (off[0], off[1], off[2])))

    return plant


def _beside(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The outer edge of the outer sole is ``size`` metres beyond the plate, which is 0.3 m wide on either side."""
    aside = 0.3 - 0.045 - faults.HALF_FOOT_M + size
    assert specimen.trial is not None
    return specimen.faulty(faults.ran_aside(specimen.row.site, aside))


def _late(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """Force begins ``size`` milliseconds after the markers, or before."""
    recording = specimen.recording
    frames = round(size / 1000 * recording.point_rate_hz)
    samples = frames * round(recording.analog_rate_hz / recording.point_rate_hz)
    if chance.random() < 0.5:
        return specimen.with_recording(points=recording.points[:-frames], analog=recording.analog[samples:])
    return specimen.with_recording(points=recording.points[frames:], analog=recording.analog[:-samples])


def _plugs_exchanged(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    plate = _hit(specimen, chance)
    pairs = [("Fx12", "Fy14"), ("Fx34", "Fy23")] if specimen.recording.plate_types[plate - 1] == 3 else [("Fx", "Fy")]
    named = [(specimen.channel(plate, one), specimen.channel(plate, other)) for one, other in pairs]
    return specimen.faulty(faults.channels_exchanged(*named))


def _in_contact(specimen: Specimen, plate: int, chance: np.random.Generator) -> float:
    """A moment at which a foot is on the plate, s."""
    recording = specimen.recording
    columns = specimen.columns(plate, "Fz")
    loaded = np.flatnonzero(np.abs(recording.analog[:, columns].sum(axis=1)) > 300)
    inner = loaded[(loaded > 60) & (loaded < len(recording.analog) - 60)]
    return float(chance.choice(inner)) / recording.analog_rate_hz


def _packet(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    plate = _hit(specimen, chance)
    moment, length = _in_contact(specimen, plate, chance), size / specimen.recording.analog_rate_hz
    return specimen.faulty(faults.packet_repeated(specimen.channel(plate, ""), moment, length))


def _spike(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    plate = _hit(specimen, chance)
    newtons = size * float(chance.choice([-1, 1]))
    return specimen.faulty(faults.spike(specimen.verticals(plate)[0], _in_contact(specimen, plate, chance), newtons))


def _crosstalk(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    loaded = _hit(specimen, chance)
    others = [p for p in range(1, len(specimen.recording.plate_types) + 1) if p != loaded]
    other = specimen.channel(int(chance.choice(others)), "")
    return specimen.faulty(faults.crosstalk(specimen.channel(loaded, ""), other, size / 100))


def _rings(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.faulty(faults.plate_rings(specimen.channel(_hit(specimen, chance), ""), size))


def _wet(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.faulty(faults.cable_wet(specimen.channel(_hit(specimen, chance), ""), size))


def _cut(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.faulty(faults.small_forces_cut(specimen.channel(_hit(specimen, chance), ""), size))


def _filtered(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.faulty(faults.filtered_before(size))


PLANTS = (
    Plant(
        "centre_of_pressure_lies_under_the_foot", "the corners of a plate lie {size} to the side of where it is", "m",
        (0.03, 0.06, 0.1, 0.2), 0.1, "the force then acts beside the foot, with 10 N.m of it per 100 N on every joint",
        plant=_corners_off("right"), sites=WITH_PLATES, real=True,
    ),
    Plant(
        "centre_of_pressure_lies_under_the_foot", "the corners of a plate lie {size} ahead or behind of where it is",
        "m", (0.1, 0.2, 0.3, 0.5), 0.3, "smaller shifts leave the point under the foot, and are not this check's",
        plant=_corners_off("forward"), sites=WITH_PLATES, real=True,
    ),
    Plant(
        "foot_pushes_off_with_its_front", "the corners of a plate lie {size} ahead or behind of where it is", "m",
        (0.03, 0.05, 0.08, 0.12), 0.08, "more than the place of a plate is doubted by", plant=_corners_off("forward"),
        sites=WITH_PLATES, real=True,
    ),
    Plant(
        "load_moves_towards_the_toes", "a plate of a runway is mirrored fore and aft", "", PRESENT, 1.0,
        "rearfoot strikes become forefoot strikes", plant=_turned("My", c3d_type=2), sites=("corrie",), real=True,
    ),
    Plant(
        "whole_foot_is_on_the_plates", "the sole of the outer foot reaches {size} beyond the plates", "m",
        (0.0, 0.01, 0.02, 0.03), 0.03, "a third of the sole is on the floor, and a third of the force is lost",
        plant=_beside, sites=("corrie",),
    ),
    Plant(
        "force_and_markers_share_one_clock", "force begins {size} after or before the markers", "ms",
        (10.0, 20.0, 30.0, 40.0, 60.0), 40.0, "in this time the foot comes down from its strike angle until it is flat",
        plant=_late, sites=WITH_PLATES, real=True,
    ),
    Plant(
        "foot_brakes_before_it_pushes", "the fore-aft channels of a plate have the wrong polarity", "", PRESENT, 1.0,
        "braking becomes propulsion", plant=_turned(FORE_AFT), sites=WITH_PLATES, real=True,
    ),
    Plant(
        "sideways_force_is_the_smallest", "fore-aft and sideways plugs of a plate are exchanged", "", PRESENT, 1.0,
        "braking is read from the sideways force", plant=_plugs_exchanged, sites=WITH_PLATES, real=True,
    ),
    Plant(
        "ground_pushes_nearly_straight_up", "the fore-aft channels of a plate are {size} times too large", "1",
        (2.0, 3.0, 5.0, 10.0), 5.0, "gains are switched by factors of two, five or ten; a factor of two stays within "
        "what a runner who brakes hard can do, and is not seen", plant=_scaled(FORE_AFT), sites=WITH_PLATES, real=True,
    ),
    Plant(
        "free_moment_is_credible", "the turning moment of a plate is {size} times too large", "1",
        (5.0, 10.0, 100.0, 1000.0), 1000.0, "N.m taken for N.mm", plant=_scaled("Mz", c3d_type=2), sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "force_samples_are_not_repeated", "{size} samples of a loaded plate are written twice", "1",
        (2.0, 3.0, 5.0, 10.0, 20.0), 5.0, "at 1000 Hz it is a fifth of the way to the impact peak",
        plant=_packet, sites=WITH_PLATES, real=True,
    ),
    Plant(
        "force_has_no_spikes", "one sample of a loaded vertical channel is off by {size}", "N",
        (50.0, 100.0, 200.0, 400.0), 200.0, "in a loading rate between two samples it is 200 kN/s, more than the rate",
        plant=_spike, sites=WITH_PLATES, real=True,
    ),
    Plant(
        "plates_do_not_talk_across", "a plate shows {size} of its neighbour's force", "%", (1.0, 2.0, 4.0, 8.0), 4.0,
        "it is well above the 20 N at which contact begins", plant=_crosstalk, sites=("corrie",), real=True,
    ),
    Plant(
        "plates_are_still_after_toe_off", "a plate rings after toe-off, {size} at first", "N",
        (10.0, 20.0, 30.0, 45.0), 30.0, "it is above the 20 N at which contact begins, and was on the impact peak too",
        plant=_rings, sites=WITH_PLATES, real=True,
    ),
    Plant(
        "empty_plates_are_quiet", "a plate has noise with a standard deviation of {size}", "N",
        (3.0, 5.0, 8.0, 10.0, 15.0), 10.0, "at twice that it passes the 20 N at which contact begins",
        plant=_wet, sites=WITH_PLATES, real=True,
    ),
    Plant(
        "empty_plates_keep_their_noise", "the export sets forces below {size} to zero", "N", (20.0, 50.0), 20.0,
        "contact times are then those of another threshold", plant=_cut, sites=WITH_PLATES,
    ),
    Plant(
        "force_was_not_filtered_before", "the export has smoothed force at {size}", "Hz", (20.0, 50.0, 100.0, 200.0),
        50.0, "it is where the study filters, and lowers the impact peak a second time", plant=_filtered,
        sites=WITH_PLATES,
    ),
)  # fmt: skip
