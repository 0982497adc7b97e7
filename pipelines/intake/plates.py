"""What a force plate's channels mean: from raw channels to ground reaction in lab axes and SI units.

Plate axes (C3D user guide): x from corner 2 to corner 1, y from corner 4 to corner 1, z down, origin in the middle of
the surface; where the corners make no exact rectangle, x is kept. Files store the reaction of the ground on the
runner along these axes, so standing reads negative along z and positive upwards once turned into the lab.

ORIGIN runs from the place where the plate senses force, below the surface, to the middle of the surface, so its z is
negative; many writers store it the other way round, and the whole vector is turned when z is positive. For type 3 it
holds the distances of the four sensors from the middle and the depth of their plane, whose signs are set by the form.

FORCE_PLATFORM:ZERO names frames whose mean could be subtracted. It is not: a runner may already stand on a belt in
these frames, and a plate that does not read zero unloaded is a fault to be found, not to be hidden. Nothing is
filtered here.
"""

from __future__ import annotations

import numpy as np

from pipelines.intake.c3d.platforms import PlateSpec
from pipelines.intake.c3d.reading import Recording
from pipelines.intake.units import moment_metre, newtons, stated
from pipelines.science.equipment.places import axes_of_plate
from schemas.trial import FloatArray, Plate


def channels_to_plate(raw: FloatArray, spec: PlateSpec, metre: float, moment_metre: float) -> FloatArray:
    """(n, 6): force (N) and moment (N.m) about the middle of the surface, in plate axes.

    raw: (n, c) in file units. metre: metres in a unit of position. moment_metre: metres in the moments' unit of
    length (for type 1, of the centre of pressure and the free moment).
    """
    raw = np.asarray(raw, float)
    origin = np.asarray(spec.origin, float) * metre
    if spec.c3d_type == 3:
        return _from_four_sensors(raw, np.abs(origin))
    if spec.c3d_type == 4 and spec.calibration is not None:
        raw = raw @ spec.calibration.T
    force = raw[:, :3]
    if spec.c3d_type == 1:
        centre = np.column_stack([raw[:, 3:5] * metre, np.zeros(len(raw))])
        moment = np.cross(centre, force)
        moment[:, 2] += raw[:, 5] * moment_metre
        return np.hstack([force, moment])
    if origin[2] > 0:
        origin = -origin
    return np.hstack([force, raw[:, 3:6] * moment_metre + np.cross(-origin, force)])


def _from_four_sensors(raw: FloatArray, distances: FloatArray) -> FloatArray:
    """Type 3: fx12 fx34 fy14 fy23 fz1 fz2 fz3 fz4, of sensors at (+-a, +-b, depth). Plate formula, isbweb.org."""
    a, b, depth = distances
    fx12, fx34, fy14, fy23, fz1, fz2, fz3, fz4 = raw.T
    fx, fy, fz = fx12 + fx34, fy14 + fy23, fz1 + fz2 + fz3 + fz4
    mx = b * (fz1 + fz2 - fz3 - fz4) - depth * fy
    my = a * (-fz1 + fz2 + fz3 - fz4) + depth * fx
    mz = b * (-fx12 + fx34) + a * (fy14 - fy23)
    return np.column_stack([fx, fy, fz, mx, my, mz])


def force_and_moment_in_lab(recording: Recording, spec: PlateSpec, metre: float) -> tuple[FloatArray, FloatArray]:
    """Ground reaction (n, 3) N and its moment (n, 3) N.m about the lab's origin, in lab axes."""
    channels = list(spec.channels)
    units = [recording.layout.analog_units[c] for c in channels]
    raw = recording.analog[:, channels]
    in_plate = channels_to_plate(raw, spec, metre, moment_metre(stated(units[:2:-1]), metre))
    in_plate = in_plate * (newtons(stated(units[:3])) or 1.0)  # of an unknown unit the file's description tells
    turn = axes_of_plate(spec.corners)
    force = in_plate[:, :3] @ turn.T
    moment = in_plate[:, 3:] @ turn.T + np.cross(spec.corners.mean(axis=0) * metre, force)
    return force, moment


def vertical_axis(spec: PlateSpec) -> FloatArray:
    """Unit vector of the lab axis, in its positive direction, that lies nearest to the plate's own normal.

    Works for labs with any axis up, and shows a plate whose corners or signs are the wrong way round as negative.
    """
    normal = axes_of_plate(spec.corners)[:, 2]
    axis = np.zeros(3)
    axis[int(np.argmax(np.abs(normal)))] = 1.0
    return axis


def plates_of(recording: Recording, turn: FloatArray, metre: float) -> tuple[Plate, ...]:
    """All plates that can be used, in study axes.

    turn: (3, 3) with study = turn @ lab. metre: metres in a unit of position.
    """
    plates = []
    for spec in recording.plates:
        if spec.problem or not len(recording.analog):
            continue
        with np.errstate(all="ignore"):  # damaged numbers stay what they are; checks meet them
            force, moment = (v @ turn.T for v in force_and_moment_in_lab(recording, spec, metre))
        channels = list(spec.channels)
        limits = recording.analog_limits[channels]
        plates.append(
            Plate(
                number=spec.number,
                c3d_type=spec.c3d_type,
                corners=spec.corners * metre @ turn.T,
                force=force,
                moment=moment,
                raw=recording.analog[:, channels],
                labels=tuple(recording.analog_labels[c] for c in channels),
                raw_full_scale=limits if np.isfinite(limits).all() else None,
            )
        )
    return tuple(plates)
