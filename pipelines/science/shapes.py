"""The shape of a trial: what stays of its markers' paths when it is resampled or rescaled, to know copies by.

Pure functions. No two runs are alike in every bend of both feet: among 6,533 pairs of different trials of the
demonstration the most alike reach 0.99985 (two short passes of one runner on a runway, simulated and so more alike than
real ones). Copies resampled to 0.97 or 1.03 times the rate, rescaled, a frame cut off and 0.5 mm of noise added, reach
0.99995; a copy with more noise, or of which a part was cut off, is not known again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from pipelines.science.frames import Column, Rows
from schemas.processing import Processing
from schemas.quality import TRIAL_SHAPES
from schemas.trial import UP, FloatArray, Trial

if TYPE_CHECKING:
    import pandas as pd

POINTS = 128
#: Likeness, marker by marker, from which two recordings are one; see above.
ALIKE = 0.9999
_WORTH_A_LOOK = 0.98  # correlation, which is quick to compute
_FEWEST_FRAMES, _FEWEST_MARKERS = 40, 3


def shape_of(heights: FloatArray) -> FloatArray | None:
    """(n,) m to (POINTS,) standard scores over the whole length; None if too little of it is known or moves."""
    known = np.isfinite(heights)
    if known.sum() < max(_FEWEST_FRAMES, 0.9 * len(heights)):
        return None
    place = np.linspace(0.0, 1.0, len(heights))
    whole = np.interp(place, place[known], heights[known])
    # mean over each part, not a sample in it: noise must not make a copy differ from what it was copied from
    area = np.concatenate([[0.0], np.cumsum((whole[1:] + whole[:-1]) / 2 * np.diff(place))])
    points = np.diff(np.interp(np.linspace(0.0, 1.0, POINTS + 1), place, area)) * POINTS
    spread = points.std()
    return (points - points.mean()) / spread if spread > 1e-4 else None


def shapes_of(trial: Trial, processing: Processing) -> Rows:
    """Rows of ``trial_shapes`` less provenance: heel and front of both feet of a running trial."""
    found = {}
    for marker in (f"{role}_{s}" for role in (processing.heel_role, processing.toe_role) for s in ("left", "right")):
        path = trial.markers.get(marker)
        shape = shape_of(path[:, UP]) if trial.kind == "running" and path is not None else None
        if shape is not None:
            found[marker] = shape
    columns: dict[str, Column] = {
        "trial_id": [trial.trial_id] * (POINTS * len(found)),
        "marker": [marker for marker in found for _ in range(POINTS)],
        "point": list(range(POINTS)) * len(found),
        "height_score": np.concatenate([*found.values(), np.empty(0)]),
    }
    return Rows.of_columns(TRIAL_SHAPES, columns)


def alike(one: Mapping[str, FloatArray], other: Mapping[str, FloatArray]) -> bool:
    """Whether two trials' shapes, marker -> (POINTS,), are those of one recording."""
    shared = one.keys() & other.keys()
    if len(shared) < _FEWEST_MARKERS:
        return False
    quick = all(float(np.mean(one[m] * other[m])) >= _WORTH_A_LOOK for m in shared)
    return quick and all(likeness(one[m], other[m]) >= ALIKE for m in shared)


class Pile:
    """Shapes of many trials, laid out so that those one trial is worth comparing with are found at once.

    shapes: marker -> (POINTS,) of each trial.
    """

    def __init__(self, shapes: Sequence[Mapping[str, FloatArray]]) -> None:
        self._markers = sorted({marker for shape in shapes for marker in shape})
        self._has = np.array([[m in shape for m in self._markers] for shape in shapes], dtype=bool)
        empty = np.zeros(POINTS)
        self._points = np.array([[shape.get(m, empty) for m in self._markers] for shape in shapes])

    def worth_a_look(self, one: Mapping[str, FloatArray]) -> list[int]:
        """Indices of the trials for which ``alike`` is not ruled out by correlation alone."""
        if not self._markers:
            return []
        own = np.array([one.get(m, np.zeros(POINTS)) for m in self._markers])
        shared = self._has & np.array([m in one for m in self._markers])
        close = np.einsum("nmp,mp->nm", self._points, own) / POINTS >= _WORTH_A_LOOK - 1e-9  # summed in another order
        return np.flatnonzero((shared.sum(axis=1) >= _FEWEST_MARKERS) & (close | ~shared).all(axis=1)).tolist()


def likeness(one: FloatArray, other: FloatArray) -> float:
    """Share of the variance of ``other`` that ``one`` explains, scaled, and with either end moved by a frame or two.

    Moving and stretching a little adds multiples of the slope and of time times slope, so a linear fit finds them.
    """
    time, slope = np.linspace(-1.0, 1.0, len(one)), np.gradient(one)
    parts = np.stack([np.ones(len(one)), one, slope, time * slope], axis=1)
    factors, *_ = np.linalg.lstsq(parts, other, rcond=None)
    left = (other - parts @ factors)[1:-1]  # at its ends the slope is one-sided
    return 1.0 - float(np.mean(left**2) / np.var(other))


def shapes_in(rows: pd.DataFrame) -> dict[str, dict[str, FloatArray]]:
    """Trial id -> marker -> (POINTS,) from rows of ``trial_shapes``."""
    found: dict[str, dict[str, FloatArray]] = {}
    for (trial, marker), own in rows.groupby(["trial_id", "marker"], sort=True):
        points = own.sort_values("point")["height_score"].to_numpy(float)
        if len(points) == POINTS:
            found.setdefault(str(trial), {})[str(marker)] = points
    return found
