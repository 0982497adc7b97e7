"""Where a plate lies, and what its force would be if it were another plate's. Pure functions that judge nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from schemas.trial import FloatArray, Plate


def axes_of_plate(corners: FloatArray) -> FloatArray:
    """(3, 3) matrix whose columns are the plate's x, y and z axes where its corners are given. corners: (4, 3), any
    unit. C3D user guide: x from corner 2 to corner 1, y from corner 4 to corner 1, z down; x is kept where the corners
    make no exact rectangle.
    """
    x = corners[0] - corners[1]
    z = np.cross(x, corners[0] - corners[3])
    y = np.cross(z, x)
    return np.stack([axis / np.linalg.norm(axis) for axis in (x, y, z)], axis=1)


def exchanged(one: Plate, other: Plate) -> tuple[Plate, Plate]:
    """Both plates where they are, each with what the other one measured."""
    return _with_force_of(one, other), _with_force_of(other, one)


def _with_force_of(plate: Plate, source: Plate) -> Plate:
    there, here = axes_of_plate(source.corners), axes_of_plate(plate.corners)
    turn = there @ here.T
    about_middle = source.moment - np.cross(source.corners.mean(axis=0), source.force)
    force = source.force @ turn
    moment = about_middle @ turn + np.cross(plate.corners.mean(axis=0), force)
    return replace(plate, force=force, moment=moment)
