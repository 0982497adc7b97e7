"""From load to plate channels: the inverse of what a reader of C3D files does.

Plate axes have z down and corners 1 to 4 at (+x, +y), (-x, +y), (-x, -y), (+x, -y), as the C3D definition of
FORCE_PLATFORM:CORNERS has them. A plate reports the force of the ground on the runner, so standing reads minus
weight along its own z. Units inside: m, N, N.m, study axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_site_uploads.simulator.trial import FootLoad

FloatArray = NDArray[np.float64]

HALF_PATCH_M = 0.05  # a foot across two plates shares its load as a patch this far fore and aft of its centre
TYPE_2, TYPE_3 = 2, 3
CHANNELS = {
    TYPE_2: ("Fx", "Fy", "Fz", "Mx", "My", "Mz"),
    TYPE_3: ("Fx12", "Fx34", "Fy14", "Fy23", "Fz1", "Fz2", "Fz3", "Fz4"),
}


@dataclass(frozen=True)
class PlateSpec:
    """One plate in the floor. ``centre``: forward, right (m). ``turned``: mounted with its x axis pointing back.

    sensors: type 2: place of the sensor's origin relative to the surface's centre is (0, 0, third number) below;
    type 3: half distances a, b between the four sensors and their depth.
    """

    c3d_type: int
    centre: tuple[float, float]
    half_length: float
    half_width: float
    sensors: tuple[float, float, float]
    turned: bool = False

    @property
    def axes(self) -> FloatArray:
        """(3, 3): rows are the plate's x, y, z in study axes."""
        sign = -1.0 if self.turned else 1.0
        return np.array([[sign, 0, 0], [0, 0, sign], [0, -1.0, 0]])

    @property
    def top(self) -> FloatArray:
        """The centre of the surface (3,) m."""
        return np.array([self.centre[0], 0.0, self.centre[1]])

    @property
    def corners(self) -> FloatArray:
        """(4, 3) m in the order of the C3D definition."""
        own = np.array([(1, 1, 0), (-1, 1, 0), (-1, -1, 0), (1, -1, 0)], float)
        return self.top + own * [self.half_length, self.half_width, 0] @ self.axes

    @property
    def c3d_origin(self) -> FloatArray:
        """FORCE_PLATFORM:ORIGIN (3,) m: sensor origin to surface (type 2), or a, b and that depth (type 3)."""
        a, b, depth = self.sensors
        return np.array([a, b, -depth])


def wrench_on(plate: PlateSpec, loads: tuple[FootLoad, ...], *, whole_floor: bool) -> tuple[FloatArray, FloatArray]:
    """Force (n, 3) N and moment (n, 3) N.m about the surface's centre that the plate feels.

    whole_floor: there is nothing beside the plate to step on, so it takes everything (a treadmill).
    """
    force = np.zeros_like(loads[0].force)
    moment = np.zeros_like(force)
    for load in loads:
        share, cop = (np.ones(len(force)), load.cop) if whole_floor else share_of(plate, load.cop)
        part = load.force * share[:, None]
        force += part
        moment += np.cross(cop - plate.top, part) + np.outer(load.free_moment * share, [0, 1, 0])
    return force, moment


def share_of(plate: PlateSpec, cop: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The part of a foot's load that falls on the plate (n,) and where it acts (n, 3)."""
    near, far = plate.centre[0] - plate.half_length, plate.centre[0] + plate.half_length
    back = np.maximum(cop[:, 0] - HALF_PATCH_M, near)
    front = np.minimum(cop[:, 0] + HALF_PATCH_M, far)
    share = np.clip(front - back, 0, None) / (2 * HALF_PATCH_M)
    share = np.where(np.abs(cop[:, 2] - plate.centre[1]) <= plate.half_width, share, 0.0)
    place = cop.copy()
    place[:, 0] = np.where(share > 0, (front + back) / 2, cop[:, 0])
    return share, place


def channels_of(plate: PlateSpec, force: FloatArray, moment: FloatArray) -> FloatArray:
    """(n, 6 or 8) what the plate's channels read: N, and N.m for moments."""
    f = force @ plate.axes.T
    a, b, depth = plate.sensors
    m = moment @ plate.axes.T
    if plate.c3d_type == TYPE_2:
        return np.hstack([f, m - np.cross(f, plate.c3d_origin)])
    m = m - np.cross(f, np.array([0.0, 0.0, -depth]))
    roll, pitch = m[:, 0] / b, m[:, 1] / a
    turn_x, turn_y = m[:, 2] / (4 * b), m[:, 2] / (4 * a)
    fx, fy, fz = f.T
    return np.stack(
        [
            fx / 2 - turn_x,
            fx / 2 + turn_x,
            fy / 2 + turn_y,
            fy / 2 - turn_y,
            (fz + roll - pitch) / 4,
            (fz + roll + pitch) / 4,
            (fz - roll + pitch) / 4,
            (fz - roll - pitch) / 4,
        ],
        axis=1,
    )
