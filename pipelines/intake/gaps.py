"""Short marker gaps are filled, long ones and those at the ends are left open. Nothing is smoothed here."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from schemas.trial import FloatArray


def gap_lengths(missing: NDArray[np.bool_]) -> NDArray[np.int64]:
    """(n,) for each sample the length of the gap it lies in, 0 outside gaps."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], missing, [False]]).astype(np.int8)))
    starts, ends = edges[0::2], edges[1::2]
    lengths = np.zeros(len(missing), np.int64)
    for start, end in zip(starts, ends, strict=True):
        lengths[start:end] = end - start
    return lengths


def fill_gaps(path: FloatArray, longest: int) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Fill inner gaps of at most ``longest`` samples; return the path and which samples were filled.

    path: (n, 3), NaN where missing. The curve through the known samples is the shape-preserving cubic of Fritsch and
    Carlson (scipy's PCHIP), which does not swing beyond its neighbours.
    """
    missing = np.asarray(~np.isfinite(path).all(axis=1))
    known = np.flatnonzero(~missing)
    fill = missing & (gap_lengths(missing) <= longest)
    if len(known):
        fill[: known[0]] = False
        fill[known[-1] + 1 :] = False
    if len(known) < 2 or not fill.any():
        return np.where(missing[:, None], np.nan, path), np.zeros(len(path), bool)
    from scipy.interpolate import PchipInterpolator

    filled = np.where(missing[:, None], np.nan, path)
    filled[fill] = PchipInterpolator(known, path[known], axis=0)(np.flatnonzero(fill))
    return filled, fill
