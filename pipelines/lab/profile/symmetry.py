"""The plane that divides a standing body into its left and right half, by markers alone; labels are not looked at."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from schemas.trial import FloatArray

_FEWEST = 8  # markers; fewer may look alike on both sides of any plane
_FAR_M = 0.10  # a marker further than this from every other one's mirror image has no partner
_CLEAR = 0.75  # a plane at a right angle to the true one fits clearly worse
_OFFSETS_M = np.arange(-0.06, 0.061, 0.02)  # of the plane from the middle of all markers, which need not come in pairs


def plane_of_the_body(points: FloatArray, upright: FloatArray) -> float | None:
    """How far the plane is turned to the right of forward, -90 to 90 degrees; None if no plane fits clearly.

    points: (frames, markers, 3) m of a standing person. upright: rows forward, up, right. Which end of the plane is the
    front it cannot tell.
    """
    with np.errstate(invalid="ignore"):
        seen = np.isfinite(points).all(axis=2).sum(axis=0) > 0
    if int(seen.sum()) < _FEWEST:
        return None
    places = np.nanmean(points[:, seen], axis=0) @ upright.T
    places = places - places.mean(axis=0)
    tree = cKDTree(places)
    coarse = np.arange(-90.0, 90.0, 5.0)
    best = min(coarse, key=lambda angle: _misfit(places, tree, angle))
    best = min(best + np.arange(-4.0, 5.0), key=lambda angle: _misfit(places, tree, angle))
    if _misfit(places, tree, best) > _CLEAR * _misfit(places, tree, best + 90.0):
        return None
    return float((best + 90.0) % 180.0 - 90.0)


def _misfit(places: FloatArray, tree: cKDTree, angle_deg: float) -> float:
    """Mean distance in m of the markers' mirror images from the nearest marker, over the best place of the plane."""
    angle = np.radians(angle_deg)
    across = np.array([-np.sin(angle), 0.0, np.cos(angle)])
    beside = places @ across
    found = []
    for offset in _OFFSETS_M:
        mirrored = places - 2 * (beside - offset)[:, None] * across
        found.append(float(np.minimum(tree.query(mirrored)[0], _FAR_M).mean()))
    return min(found)
