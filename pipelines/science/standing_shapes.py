"""What a standing trial is known by when it comes again as another one: its posture, and how it sways. Pure functions.

Nobody stands twice alike to the millimetre, and what no two recordings share is how they sway and shake. Both are kept:
the middle places of the markers, and 24 sums over the markers from frame to frame. Sway is compared by how its mean
over some frames changes: from one frame to the next a laboratory's own filter has left nothing but rounding.

Sway of copies that were cut, of which a part was taken, that were rescaled, resampled by 3 %, rounded to 0.1 mm or
filtered once more fits by 0.8 and more (three real recordings), with noise of 0.1 mm by 0.53; noise of 1 mm hides a
copy. Different trials: 0.42 at most of all pairs of 180 trials, but for two real people (0.77), whom their postures
tell apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.science.events.from_force import SIDES
from pipelines.science.shapes import cells_of, foot_length
from schemas.processing import Processing
from schemas.trial import UP, FloatArray, Trial

STANDING = "standing"
#: Correlation of changes from which two recordings are one, see above, and what their postures may differ by (own
#: choice: noise of 2 mm on 12 frames makes 1.0 mm, a part of 5 s of a real trial 0.1 mm).
ALIKE, SAME_POSTURE_M = 0.5, 0.0015
#: Sums are kept, of three axes each; changes are taken over so many frames, of means over as many. Own choices.
SUMS, OVER_FRAMES = 8, 5
_FEWEST_FRAMES, _MOST_FRAMES, _FEWEST_MARKERS, _FEWEST_CHANGES = 20, 2000, 4, 9
_STRETCHES = (1.0, 0.95, 0.97, 0.99, 1.01, 1.03, 1.05)
_LEAST_SHARED = 0.5
#: Cells are so wide, in foot lengths, and what lies in the next ones is looked for as well. Own choice.
_CELL = 0.1


@dataclass(frozen=True, eq=False)
class Sway:
    """A standing trial. series: (3 SUMS, frames) m, each less its mean. posture: (markers, 3) m, less their mean.

    cell: its posture, coarsely.
    """

    series: FloatArray
    posture: FloatArray
    cell: str

    @cached_property
    def distances(self) -> FloatArray:
        """Of all markers from each other, m."""
        return _distances(self.posture)

    @cached_property
    def changed(self) -> FloatArray:
        """How its mean over some frames changes."""
        return _changes(self.series)

    @cached_property
    def moved(self) -> Sequence[FloatArray]:
        """The same, stretched in every way in which a copy may be."""
        return _moved(self.series)

    @property
    def cells(self) -> frozenset[str]:
        """Where a copy of it may lie."""
        name, *places = self.cell.split(".")
        return frozenset(cells_of(name, [int(place) + 0.5 for place in places], 1.0, 1.0))


def sway_of(trial: Trial, processing: Processing) -> Sway | None:
    """How a standing trial sways; None of other trials, or if too little is known of it.

    Sums over the markers that are seen throughout, with the signs of rows of a Hadamard matrix (so that what one marker
    does alone is in all of them).
    """
    whole = [path for _, path in sorted(trial.markers.items()) if np.isfinite(path).all()]
    if trial.kind != STANDING or len(whole) < _FEWEST_MARKERS or len(whole[0]) < _FEWEST_FRAMES:
        return None
    names = [f"{role}_{side}" for role in (processing.heel_role, processing.toe_role) for side in SIDES]
    paths = [trial.markers.get(name) for name in names]
    length = foot_length(paths)
    if length is None:
        return None
    seen = np.stack(whole)[:, :_MOST_FRAMES]
    middles = np.median(seen, axis=1)
    height = float(np.ptp(middles[:, UP]))
    widths = [float(np.linalg.norm(np.nanmedian(b - a, axis=0))) for a, b in _pairs(paths)]
    both = np.arange(SUMS)[:, None] & np.arange(len(seen))
    signs = (-1.0) ** np.bitwise_count(both)
    sums = np.einsum("sm,mfa->saf", signs, seen).reshape(3 * SUMS, -1) / len(seen) ** 0.5
    cell = next(iter(cells_of(STANDING, [size / length for size in (height, *widths)], _CELL, 0.0)))
    middle = seen.mean(axis=1)
    return Sway(np.asarray(sums - sums.mean(axis=1, keepdims=True)), np.asarray(middle - middle.mean(axis=0)), cell)


def are_one(one: Sway, other: Sway) -> bool:
    """Whether both are of one recording, or one of a part of the other's."""
    return _apart(one.distances, other.distances) < SAME_POSTURE_M and _fits(one.moved, other.changed) >= ALIKE


def postures_apart(one: FloatArray, other: FloatArray) -> float:
    """Root mean square difference in m of all distances between markers, one of the two (n, 3) scaled to the other.

    Infinite for other numbers of markers.
    """
    return _apart(_distances(one), _distances(other))


def _distances(posture: FloatArray) -> FloatArray:
    from scipy.spatial.distance import pdist

    return np.asarray(pdist(posture))


def _apart(mine: FloatArray, theirs: FloatArray) -> float:
    if mine.shape != theirs.shape:
        return float("inf")
    size = float(mine @ mine)
    return float(np.sqrt(np.mean((mine @ theirs / size * mine - theirs) ** 2))) if size > 0 else float("inf")


def _pairs(paths: Sequence[FloatArray | None]) -> Iterator[tuple[FloatArray, FloatArray]]:
    """The two heels, and the two fronts, where both are seen."""
    for a, b in ((paths[0], paths[1]), (paths[2], paths[3])):
        if a is not None and b is not None and np.isfinite(b - a).any():
            yield a, b


def fits(one: FloatArray, other: FloatArray) -> float:
    """Largest correlation, over shifts and a few stretches, of what changes over some frames in two (k, n) and (k, m).

    0 where either is too short.
    """
    return _fits(_moved(one), _changes(other))


def _moved(series: FloatArray) -> list[FloatArray]:
    """Its changes, stretched a little in every way."""
    return [_changes(series if stretch == 1.0 else _stretched(series, stretch)) for stretch in _STRETCHES]


def _fits(moved: Sequence[FloatArray], changed: FloatArray) -> float:
    return max(0.0, *(_best_shift(one, changed) for one in moved))


def _changes(series: FloatArray) -> FloatArray:
    """(k, n) -> (k, n - 2 OVER_FRAMES + 1): the mean over the next frames less that over those before."""
    sums = np.concatenate([np.zeros((len(series), 1)), np.cumsum(series, axis=1)], axis=1)
    means = (sums[:, OVER_FRAMES:] - sums[:, :-OVER_FRAMES]) / OVER_FRAMES
    return np.asarray(means[:, OVER_FRAMES:] - means[:, :-OVER_FRAMES])


def _stretched(series: FloatArray, stretch: float) -> FloatArray:
    count = series.shape[1]
    places = np.linspace(0, count - 1, round(stretch * count))
    return np.stack([np.interp(places, np.arange(count), row) for row in series])


def _best_shift(one: FloatArray, other: FloatArray) -> float:
    """Over all shifts at which at least half of the shorter one is shared."""
    n, m = one.shape[1], other.shape[1]
    if not n or not m:
        return 0.0
    size = 1 << (n + m - 1).bit_length()
    spectra = np.fft.rfft(one, size), np.fft.rfft(other, size)
    products = np.fft.irfft((spectra[0] * spectra[1].conj()).sum(axis=0), size)
    squares = [np.concatenate([[0.0], np.cumsum((series**2).sum(axis=0))]) for series in (one, other)]
    shifts = np.arange(-(m - 1), n)  # one[i + shift] over other[i]
    first, last = np.maximum(shifts, 0), np.minimum(shifts + m, n)
    enough = last - first >= max(_FEWEST_CHANGES, _LEAST_SHARED * min(n, m))
    shifts, first, last = shifts[enough], first[enough], last[enough]
    if not len(shifts):
        return 0.0
    power = (squares[0][last] - squares[0][first]) * (squares[1][last - shifts] - squares[1][first - shifts])
    with np.errstate(invalid="ignore", divide="ignore"):
        found = products[shifts % size] / np.sqrt(power)
    return float(np.nanmax(np.where(power > 0, found, 0.0)))
