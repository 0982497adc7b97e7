"""Faults of force plates: zero, drift, polarity, range, place, gain, level."""

from __future__ import annotations

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant
from benchmarks.detection.specimens import Specimen
from schemas.mechanics import STANDARD_GRAVITY

WITH_PLATES = ("brack", "corrie")


def _added(specimen: Specimen, plate: int, newtons: np.ndarray | float) -> Specimen:
    """``newtons`` of vertical force more on one plate, spread over its vertical channels."""
    recording = specimen.recording
    analog, verticals = recording.analog.copy(), specimen.verticals(plate)
    for label in verticals:
        analog[:, recording.column(label)] -= np.asarray(newtons) / len(verticals)  # a plate's z axis points down
    return specimen.with_recording(analog=analog)


def _any_plate(specimen: Specimen, chance: np.random.Generator) -> int:
    return int(chance.integers(1, len(specimen.recording.plate_types) + 1))


def _hit_plate(specimen: Specimen, chance: np.random.Generator) -> int:
    return int(chance.choice(specimen.plates_hit))


def _offset(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return _added(specimen, _any_plate(specimen, chance), size * chance.choice([-1, 1]))


def _drift(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    ramp = np.linspace(0, 1, len(specimen.recording.analog))
    return _added(specimen, _any_plate(specimen, chance), size * ramp * chance.choice([-1, 1]))


def _turned_polarity(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return _scaled(specimen, _hit_plate(specimen, chance), "", -1.0)


def _scaled(specimen: Specimen, plate: int, start: str, factor: float) -> Specimen:
    analog = specimen.recording.analog.copy()
    analog[:, specimen.columns(plate, start)] *= factor
    return specimen.with_recording(analog=analog)


def _peaks_cut(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The amplifier's range of one vertical channel ends ``size`` per cent below its largest peak."""
    recording = specimen.recording
    plate = _hit_plate(specimen, chance)
    column = recording.column(specimen.verticals(plate)[0])
    analog = recording.analog.copy()
    if recording.plate_types[plate - 1] == 3:
        column = max(specimen.columns(plate, "Fz"), key=lambda i: np.abs(analog[:, i]).max())
    end = np.abs(analog[:, column]).max() * (1 - size / 100)
    analog[:, column] = np.clip(analog[:, column], -end, end)
    return specimen.with_recording(analog=analog)


def _moments_scaled(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    plates = [p for p in specimen.plates_hit if specimen.recording.plate_types[p - 1] == 2]
    analog = specimen.recording.analog.copy()
    for plate in plates:
        analog[:, specimen.columns(plate, "M")] *= size
    room = 1.0 if specimen.recording.storage == "float" else size  # the converter's range would hide the fault
    scale = specimen.recording.full_scale.copy()
    for plate in plates:
        scale[specimen.columns(plate, "M")] *= room
    return specimen.with_recording(analog=analog, full_scale=scale)


def _moments_off(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The zero of a plate's roll moment is off by what moves the point by ``size`` metres at the largest force."""
    recording, analog = specimen.recording, specimen.recording.analog.copy()
    plate = int(chance.choice([p for p in specimen.plates_hit if recording.plate_types[p - 1] == 2]))
    largest = np.abs(analog[:, recording.column(specimen.channel(plate, "Fz"))]).max()
    analog[:, recording.column(specimen.channel(plate, "Mx"))] += 1000 * size * largest * chance.choice([-1, 1])
    return specimen.with_recording(analog=analog)


def _gain(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    analog = specimen.recording.analog.copy()
    factor = 1 + size / 100 * chance.choice([-1, 1])
    for plate in range(1, len(specimen.recording.plate_types) + 1):
        analog[:, specimen.columns(plate)] *= factor
    return specimen.with_recording(analog=analog)


def _across_two_plates(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    assert specimen.trial is not None
    return specimen.again(shift_m=0.6025)


def _blow(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """Something strikes the plate in the middle of one contact, for 40 ms."""
    recording = specimen.recording
    inner = [c for c in specimen.contacts if c.contact_s > 0.05 and c.toe_off_s < _length_s(specimen) - 0.05]
    contact = inner[int(chance.integers(len(inner)))]
    middle = contact.contact_s + 0.45 * (contact.toe_off_s - contact.contact_s)
    t = np.arange(len(recording.analog)) / recording.analog_rate_hz
    phase = (t - middle) / 0.02
    newtons = size * (specimen.row.mass_kg or 70.0) * STANDARD_GRAVITY
    blow = np.where(np.abs(phase) < 1, newtons / 2 * (1 + np.cos(np.pi * phase)), 0.0)
    return _added(specimen, _plate_under(specimen, middle), blow)


def _length_s(specimen: Specimen) -> float:
    return len(specimen.recording.analog) / specimen.recording.analog_rate_hz


def _plate_under(specimen: Specimen, moment_s: float) -> int:
    recording = specimen.recording
    sample = round(moment_s * recording.analog_rate_hz)

    def load(plate: int) -> float:
        return -sum(float(recording.analog[sample, recording.column(x)]) for x in specimen.verticals(plate))

    return max(range(1, len(recording.plate_types) + 1), key=load)


def _tilted(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    recording, analog = specimen.recording, specimen.recording.analog.copy()
    vertical = analog[:, recording.column(specimen.channel(1, "Fz"))]
    analog[:, recording.column(specimen.channel(1, "Fx"))] += size / 100 * chance.choice([-1, 1]) * vertical
    return specimen.with_recording(analog=analog)


PLANTS = (
    Plant(
        "plates_read_zero_unloaded",
        "one plate reads {size} too much or too little from start to end",
        "N",
        (10.0, 15.0, 20.0, 30.0, 50.0),
        20.0,
        "it is as large as the 20 N at which contact begins, and moves every contact and toe-off",
        plant=_offset,
        sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "plates_read_zero_unloaded",
        "the zero of one plate drifts by {size} from start to end",
        "N",
        (10.0, 20.0, 30.0, 45.0),
        30.0,
        "at the end of the trial it is larger than the 20 N at which contact begins",
        plant=_drift,
        sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "vertical_force_points_up",
        "one plate has the wrong polarity",
        "",
        PRESENT,
        1.0,
        "no contact on it is found",
        plant=_turned_polarity,
        sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "force_stays_below_full_scale",
        "one vertical channel is cut off {size} below its largest peak",
        "%",
        (1.0, 2.0, 5.0, 10.0, 20.0),
        5.0,
        "active peaks of two shoes differ by about as much",
        plant=_peaks_cut,
        sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "centre_of_pressure_lies_on_the_plate",
        "the moments are {size} times too large",
        "1",
        (2.0, 5.0, 10.0, 1000.0),
        1000.0,
        "N.m taken for N.mm; smaller factors are seen only where feet land near the edges",
        plant=_moments_scaled,
        sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "centre_of_pressure_lies_on_the_plate",
        "the zero of a moment channel is off by what moves the point by {size} at the peak of force",
        "m",
        (0.02, 0.05, 0.1, 0.2),
        0.1,
        "the point lies beside the foot at every moment of contact",
        plant=_moments_off,
        sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "mean_vertical_force_is_body_weight",
        "on a treadmill all force is {size} too large or too small",
        "%",
        (5.0, 10.0, 15.0, 20.0),
        15.0,
        "every force per body weight is off by as much, which is what loading rates differ by between shoes",
        plant=_gain,
        sites=("brack",),
    ),
    Plant(
        "mean_vertical_force_is_body_weight",
        "on a runway all force is {size} too large or too small",
        "%",
        (10.0, 20.0, 30.0, 55.0),
        30.0,
        "one step of a runner may rise or sink by a tenth; two exchanged runners differ by a third at times, pounds and "
        "kilograms by 55 %",
        plant=_gain,
        sites=("corrie",),
        real=True,
    ),
    Plant(
        "foot_lands_on_one_plate",
        "one foot lands across the gap between two plates",
        "",
        PRESENT,
        1.0,
        "its centre of pressure is a mean of two",
        plant=_across_two_plates,
        sites=("corrie",),
    ),
    Plant(
        "active_peaks_are_credible",
        "something strikes the plate during one contact, {size}",
        "{BW}",
        (1.0, 2.0, 3.0, 4.0),
        3.0,
        "the check is for peaks no runner can have; half of it stays within what runners reach",
        plant=_blow,
        sites=WITH_PLATES,
        real=True,
    ),
    Plant(
        "fore_aft_impulse_balances_at_steady_speed",
        "{size} of the vertical force shows in the fore-aft channel",
        "%",
        (1.0, 2.0, 3.0, 4.0, 6.0),
        3.0,
        "it adds a third to braking and takes as much from propulsion",
        plant=_tilted,
        sites=("brack",),
    ),
)
