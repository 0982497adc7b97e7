"""Mechanics that checks and outcomes share: gravity, runs of samples, centre of pressure and free moment, in study axes.

Only geometry lives here: forces come in as the ground's action on the runner, moments about the study's origin. What a
plate's channels mean is in ``pipelines.intake.plates``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FORWARD, RIGHT, UP, FloatArray

#: m/s2, standard gravity (3rd CGPM 1901; exact by definition).
STANDARD_GRAVITY = 9.80665


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First index and index after the last of each run of True in ``mask`` (n,)."""
    return [(first, stop) for first, stop in run_edges(mask).tolist()]


def run_edges(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """The same as an array (k, 2), for signals with very many runs."""
    padded = np.zeros(len(mask) + 2, bool)
    padded[1:-1] = mask
    return np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2)


def centre_of_pressure(
    force: FloatArray, moment: FloatArray, surface_height_m: float, threshold_n: float
) -> FloatArray:
    """Where the force acts on the surface: (n, 3) m, NaN below the threshold.

    force: (n, 3) N. moment: (n, 3) N.m about the study's origin. The point sought lies at height ``surface_height_m``
    and leaves only a vertical free moment T, so M = r x F + (0, T, 0); its first and third rows give the two
    horizontal coordinates (first principles; the same as the plate formula copx = -(My - Fx z0) / Fz). Rows whose
    vertical force is below ``threshold_n``, zero or not a number are NaN, since there the point is not defined.
    """
    force = np.asarray(force, float).reshape(-1, 3)
    moment = np.asarray(moment, float).reshape(-1, 3)
    vertical, height = force[:, UP], surface_height_m
    with np.errstate(invalid="ignore"):
        divisor = np.where((vertical >= threshold_n) & (vertical != 0), vertical, np.nan)
        forward = (moment[:, RIGHT] + height * force[:, FORWARD]) / divisor
        right = (height * force[:, RIGHT] - moment[:, FORWARD]) / divisor
        known = np.isfinite(forward) & np.isfinite(right)
    where = np.full(force.shape, np.nan)
    for axis, value in ((FORWARD, forward), (UP, height), (RIGHT, right)):
        where[:, axis] = np.where(known, value, np.nan)
    return where


def free_moment(force: FloatArray, moment: FloatArray, cop: FloatArray) -> FloatArray:
    """Moment about the vertical through the centre of pressure: (n,) N.m, NaN where the centre is not defined.

    ``cop`` must be the one that is reported beside it: T = M_up - (r x F)_up, with r = cop.
    """
    force = np.asarray(force, float).reshape(-1, 3)
    moment = np.asarray(moment, float).reshape(-1, 3)
    turning = cop[:, RIGHT] * force[:, FORWARD] - cop[:, FORWARD] * force[:, RIGHT]
    return moment[:, UP] - turning
