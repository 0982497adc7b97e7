"""Whether the force plates told the truth: zero, sign, range, point of application, scale.

What the force says about the runner is for ``outcomes``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from checks import showing as show
from checks.force import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.equipment.plates import PlateReading
from pipelines.science.frames import Rows
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.mechanics import runs
from schemas.trial import FORWARD, RIGHT, UP, Plate, Trial

#: Own choice: a peak that misses less than this part of the plate's largest force (or moment) is as good as whole.
LEAST_LOSS = 0.005


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="With nobody on it, plate {number} reads {level_n:+.0f} N vertically, going from {start_n:+.0f} N "
    "at the start to {end_n:+.0f} N at the end of the trial; {level_fore_aft_n:+.0f} N fore-aft, "
    "{level_sideways_n:+.0f} N sideways, and a moment of up to {level_nm:.1f} N.m.",
    expected="An unloaded plate reads 0 N, within {allowed_n:g} N, from start to end in each channel; of a moment, "
    "what such a force makes at the plate's corner.",
    remedy="If an unloaded recording of the same session exists, subtract it and export again; otherwise "
    "subtract this trial's own unloaded level. Before the next session zero the amplifier with the plate "
    "warm and unloaded, and with the belt running on a treadmill.",
    words=("number", "level_n", "start_n", "end_n", "level_fore_aft_n", "level_sideways_n", "level_nm", "allowed_n"),
    limits={"offset_n": Limit("N", "common practice: below the 20 N contact threshold")},
)
def plates_read_zero_unloaded(trial: Trial, work: Workspace, *, offset_n: float = 15.0) -> Looked:
    """A force plate reads zero while no foot is on it.

    A small level is taken off before anything is computed. A large one is no offset that anybody can be sure of: it
    moves contact and toe-off, adds to every impulse and bends the centre of pressure, and what the amplifier did under
    load is not known.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    readings = work.plate_readings
    allowed = min(offset_n, work.processing.largest_level_n)  # what is not taken off goes back
    beyond = [one for one in readings if max(one.largest_n, abs(one.start_n), abs(one.end_n)) > allowed]
    plates = {plate.number: plate for plate in trial.plates}
    faults = []
    for reading in beyond:
        plate = plates[reading.number]
        proof = shown.unloaded(trial, plate, reading, allowed)
        fault = {**_level(reading), "allowed_n": allowed, "place": f"plate {plate.number}", "shows": proof}
        faults.append(fault | {"moment_s": show.worst_at(proof, reading.moment_s)})
    examined = sum(reading.samples for reading in readings)
    return looked(examined, faults) if examined else nothing("no plate is ever unloaded")


def _level(reading: PlateReading) -> dict[str, Any]:
    return {
        "number": reading.number,
        "level_n": float(reading.force_n[UP]),
        "start_n": reading.start_n,
        "end_n": reading.end_n,
        "level_fore_aft_n": float(reading.force_n[FORWARD]),
        "level_sideways_n": float(reading.force_n[RIGHT]),
        "level_nm": float(np.abs(reading.moment_nm).max()),
        "moment_s": reading.moment_s,
    }


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Under load plate {number} reads {mean_n:.0f} N vertically on average, so the ground would pull "
    "the runner down.",
    expected="The ground pushes the runner up: vertical force is positive in the study's axes.",
    remedy="Check in the profile which lab axis points up, then the order of this plate's corners and the "
    "polarity of its vertical channel in the export: C3D plates have their own axis pointing down, and "
    "some programs write the force on the plate, others the force on the runner.",
    words=("number", "mean_n"),
    limits={"loaded_n": Limit("N", "common practice: well above noise, well below body weight")},
)
def vertical_force_points_up(trial: Trial, *, loaded_n: float = 200.0) -> Looked:
    """Vertical force points up on every loaded plate, because it is the ground's action on the runner.

    With the sign turned no contact is found, or the flights are taken for contacts.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate in trial.plates:
        force = signals.vertical(plate)
        loaded = np.flatnonzero(np.linalg.norm(plate.force, axis=1) > loaded_n)
        examined += len(loaded)
        if len(loaded) and (mean := float(np.mean(force[loaded]))) < 0:
            worst = loaded[np.argmin(force[loaded])]
            faults.append(
                {
                    "number": plate.number,
                    "mean_n": mean,
                    "moment_s": worst / (trial.analog_rate_hz or 1.0),
                    "place": f"plate {plate.number}",
                    "shows": shown.points_down(trial, plate, worst),
                }
            )
    return looked(examined, faults) if examined else nothing("no plate was loaded")


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="Channel {label} of plate {number} stands still at {value:.6g} (file units) for {samples} samples, "
    "{longest} of them in a row, at the end of its range.",
    expected="A force peak is round; fewer than {equal_samples:g} samples in a row share its largest value.",
    remedy="The peaks are lost and cannot be brought back: record the trial again with the next larger "
    "range of the amplifier and of the converter. If the raw recording is not cut off, export it with a "
    "larger analog scale or as floating-point numbers.",
    words=("label", "number", "value", "samples", "longest"),
    limits={"equal_samples": Limit("1", "common practice")},
)
def force_stays_below_full_scale(trial: Trial, *, equal_samples: float = 4) -> Looked:
    """No channel of a force plate reaches the end of its range.

    A cut-off peak lowers active peaks and impulses by an amount nobody can know afterwards, and it does so most for
    the heaviest and fastest runners.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate in trial.plates:
        raw = np.asarray(plate.raw, float)
        for column in range(raw.shape[1] if raw.ndim == 2 else 0):
            examined += len(raw)
            cut = _cut_off(plate, column, int(equal_samples))
            faults += [_clip_fault(trial, plate, column, cut, equal_samples)] if cut else []
    return looked(examined, faults) if examined else nothing("the plates' own channels are not known")


def _cut_off(plate: Plate, column: int, shortest: int) -> list[tuple[int, int]]:
    """Stretches of one channel that are flat at the top, or that reach what the file can store."""
    raw = np.asarray(plate.raw, float)
    samples = raw[:, column]
    alike = np.abs(raw[:, _same_quantity(plate, column)])
    largest = float(np.max(alike, initial=0.0, where=np.isfinite(alike)))
    cut = signals.flat_tops(samples, shortest, least=LEAST_LOSS * largest)
    if plate.raw_full_scale is not None and column < len(plate.raw_full_scale):
        low, high = np.sort(plate.raw_full_scale[column])
        slack = 1e-6 * (high - low)
        at_end = (samples <= low + slack) | (samples >= high - slack)
        if high > low and at_end.sum() > 1:
            cut = runs(at_end)
    return cut


def _same_quantity(plate: Plate, column: int) -> slice:
    """The plate's channels that hold the same quantity: three forces or three moments, or the forces of type 3."""
    if plate.c3d_type == 3:
        return slice(None)
    return slice(0, 3) if column < 3 else slice(3, 6)


def _clip_fault(
    trial: Trial, plate: Plate, column: int, cut: list[tuple[int, int]], equal_samples: float
) -> dict[str, Any]:
    label = plate.labels[column] if column < len(plate.labels) else f"{column + 1}"
    longest = max(cut, key=lambda ab: ab[1] - ab[0])
    return {
        "number": plate.number,
        "label": label,
        "value": float(plate.raw[longest[0], column]),
        "longest": longest[1] - longest[0],
        "samples": sum(b - a for a, b in cut),
        "moment_s": longest[0] / (trial.analog_rate_hz or 1.0),
        "place": f"plate {plate.number}, channel {label}",
        "shows": shown.cut_off(trial, plate, column, longest, equal_samples),
    }


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="In {share_percent_found:.0f} % of the loaded samples the centre of pressure lies outside plate "
    "{number}, at most {worst_m:.2f} m beyond its edge.",
    expected="The centre of pressure stays on the plate, within {beyond_m:g} m, in all but "
    "{share_percent:g} % of the samples above {loaded_n:g} N.",
    remedy="Compare FORCE_PLATFORM:CORNERS and ORIGIN with the plate as it lies in the lab: order of the "
    "corners, unit (millimetres or metres), sign and depth of the origin. Then check that the moment "
    "channels are wired and scaled as in the plate's calibration sheet (N.m or N.mm).",
    words=("share_percent_found", "number", "worst_m"),
    limits={
        "beyond_m": Limit("m", "common practice"),
        "share_percent": Limit("%", "common practice"),
        "loaded_n": Limit("N", "common practice: the point is uncertain where the force is small"),
    },
)
def centre_of_pressure_lies_on_the_plate(
    trial: Trial, *, beyond_m: float = 0.02, share_percent: float = 5.0, loaded_n: float = 100.0
) -> Looked:
    """The centre of pressure of a loaded plate lies within the plate's corners.

    It is the quickest proof that forces, moments, corners and origin fit each other; where it fails, the strike index
    and every joint moment are wrong.
    """
    if reason := signals.without_force(trial):
        return nothing(reason)
    faults, examined = [], 0
    for plate in trial.plates:
        loaded = np.flatnonzero(signals.vertical(plate) > loaded_n)
        outside = signals.distance_outside(plate.corners, signals.centre_of_pressure(plate)[loaded])
        known = np.isfinite(outside)
        examined += int(known.sum())
        share = 100 * np.mean(outside[known] > beyond_m) if known.any() else 0.0
        if share > share_percent:
            worst = int(np.nanargmax(outside))
            point = signals.centre_of_pressure(plate)
            faults.append(
                {
                    "number": plate.number,
                    "share_percent_found": share,
                    "worst_m": shown.beyond_edge(plate, point[loaded[worst]]),
                    "moment_s": loaded[worst] / (trial.analog_rate_hz or 1.0),
                    "place": f"plate {plate.number}",
                    "shows": shown.off_the_plate(plate, point, int(loaded[worst]), beyond_m),
                }
            )
    return looked(examined, faults) if examined else nothing("no plate was loaded, or its corners are not known")


@check(
    about=Subject.TRIAL,
    weight=Weight.NOTES,
    seen="In {place} the foot touched {plates} plates.",
    expected="On a runway each foot lands on one plate.",
    remedy="Nothing to correct: the forces of the plates are added up, which is right when they lie side by "
    "side without a step. Move the start mark by half a foot length when many trials show this.",
    words=("plates",),
)
def foot_lands_on_one_plate(trial: Trial, footfalls: Rows) -> Looked:
    """Each footfall on a runway is on one plate.

    A contact shared between plates adds up the errors of both, and its centre of pressure is a weighted mean of two.
    """
    if reason := signals.without_force(trial) or signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    if trial.surface != "runway":
        return nothing("not a runway")
    known = [row for row in footfalls.records if row["plate_count"] is not None]
    return looked(
        len(known),
        [
            {
                "place": signals.footfall_place(row),
                "plates": row["plate_count"],
                "moment_s": row["contact_s"],
                "shows": shown.shared(trial, row["plate_count"], float(row["contact_s"])),
            }
            for row in known
            if row["plate_count"] > 1
        ],
    )
