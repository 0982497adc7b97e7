"""What a standing trial is known by when it comes again as another one: how it sways and shakes. Pure functions.

Sizes of a body say who stands, not when, and a runner stands alike on many days; what no two recordings share is how
every frame differs from the last one. That is kept in 12 sums over the markers. Copies that were cut, of which a part
was taken, that were rescaled or resampled by 3 %, fit by 0.99 and more; two different trials of the demonstration and
of two real laboratories by 0.5 at most (12 frames). Noise larger than what a recording itself has hides a copy of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.science.events.from_force import SIDES
from pipelines.science.shapes import SERIES, cells_of, foot_length
from schemas.processing import Processing
from schemas.trial import UP, FloatArray, Trial

STANDING = "standing"
#: Correlation of what changes from frame to frame, from which two recordings are one; see above.
ALIKE = 0.6
_FEWEST_FRAMES, _MOST_FRAMES, _FEWEST_MARKERS = 10, 2000, 4
_STRETCHES = (1.0, 0.95, 0.97, 0.99, 1.01, 1.03, 1.05)
_LEAST_SHARED = 0.5
#: Cells are so wide, in foot lengths, and what lies in the next ones is looked for as well. Own choice.
_CELL = 0.1


@dataclass(frozen=True, eq=False)
class Sway:
    """A standing trial. series: (SERIES, frames) m, each less its mean. cell: its posture, coarsely."""

    series: FloatArray
    cell: str

    @property
    def cells(self) -> frozenset[str]:
        """Where a copy of it may lie."""
        name, *places = self.cell.split(".")
        return frozenset(cells_of(name, [int(place) + 0.5 for place in places], 1.0, 1.0))


def sway_of(trial: Trial, processing: Processing) -> Sway | None:
    """How a standing trial sways; None of other trials, or if too little is known of it.

    Four sums over the markers that are seen throughout, with the signs of four rows of a Hadamard matrix (so that
    what one marker does alone is in all of them), of three axes each.
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
    place = np.arange(len(seen))
    signs = np.stack([(-1.0) ** (place // step) if step else np.ones(len(seen)) for step in (0, 1, 2, 4)])
    sums = np.einsum("sm,mfa->saf", signs, seen).reshape(SERIES, -1) / len(seen) ** 0.5
    cell = next(iter(cells_of(STANDING, [size / length for size in (height, *widths)], _CELL, 0.0)))
    return Sway(np.asarray(sums - sums.mean(axis=1, keepdims=True)), cell)


def _pairs(paths: Sequence[FloatArray | None]) -> Iterator[tuple[FloatArray, FloatArray]]:
    """The two heels, and the two fronts, where both are seen."""
    for a, b in ((paths[0], paths[1]), (paths[2], paths[3])):
        if a is not None and b is not None and np.isfinite(b - a).any():
            yield a, b


def fits(one: FloatArray, other: FloatArray) -> float:
    """Largest correlation, over shifts and a few stretches, of what changes from frame to frame in two (SERIES, n)."""
    best = 0.0
    for stretch in _STRETCHES:
        moved = one if stretch == 1.0 else _stretched(one, stretch)
        best = max(best, _best_shift(np.diff(moved, axis=1), np.diff(other, axis=1)))
    return best


def _stretched(series: FloatArray, stretch: float) -> FloatArray:
    count = series.shape[1]
    places = np.linspace(0, count - 1, round(stretch * count))
    return np.stack([np.interp(places, np.arange(count), row) for row in series])


def _best_shift(one: FloatArray, other: FloatArray) -> float:
    """Over all shifts at which at least half of the shorter one is shared."""
    n, m = one.shape[1], other.shape[1]
    size = 1 << (n + m - 1).bit_length()
    spectra = np.fft.rfft(one, size), np.fft.rfft(other, size)
    products = np.fft.irfft((spectra[0] * spectra[1].conj()).sum(axis=0), size)
    squares = [np.concatenate([[0.0], np.cumsum((series**2).sum(axis=0))]) for series in (one, other)]
    shifts = np.arange(-(m - 1), n)  # one[i + shift] over other[i]
    first, last = np.maximum(shifts, 0), np.minimum(shifts + m, n)
    enough = last - first >= max(_FEWEST_FRAMES - 1, _LEAST_SHARED * min(n, m))
    shifts, first, last = shifts[enough], first[enough], last[enough]
    if not len(shifts):
        return 0.0
    power = (squares[0][last] - squares[0][first]) * (squares[1][last - shifts] - squares[1][first - shifts])
    with np.errstate(invalid="ignore", divide="ignore"):
        found = products[shifts % size] / np.sqrt(power)
    return float(np.nanmax(np.where(power > 0, found, 0.0)))
