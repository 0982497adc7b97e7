"""The shape of a trial, stride by stride: what stays of it when it is cut, resampled, rescaled or made noisy.

Pure functions. No two strides are alike in every bend of both feet: with the trials of the demonstration and two real
runs the most alike pair of strides of different trials is 1.23 mm apart (root mean square, two short passes of one
runner, simulated and so more alike than real ones), strides of one real run 3.4 mm and more. The same stride with 2 mm
of noise, resampled, rescaled and cut at the start is 0.8 mm apart at most. Of a recording so short that hardly a whole
stride is left of a part of it, steps are kept as well: the most alike of different trials are 0.56 mm apart (simulated;
2 mm in one real run), a step that was resampled 0.4 mm at most. Standing trials are in ``standing_shapes``.
"""

from __future__ import annotations

import base64
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from pipelines.science.events.from_force import SIDES
from pipelines.science.signals.filters import low_pass
from schemas.processing import Processing
from schemas.trial import UP, FloatArray, Trial

#: Parts of a stride, each the mean of its samples; paths are those of heel and front of both feet, three axes each.
POINTS, SERIES = 12, 12
#: Strides nearer than this part of the foot's length are one: about 0.8 mm. See above.
ALIKE = 0.0043
#: So many in a row, or all if there are fewer, make two recordings one.
IN_A_ROW = 3
#: The same of steps, about 0.4 mm: half as long, they are more alike, and 2 mm of noise hides a copy.
STEP_ALIKE = 0.002
STEPS_IN_A_ROW = 2 * IN_A_ROW
_FEWEST_SERIES = 9  # three markers
_SMOOTH_HZ, _PROMINENCE = 8.0, 0.3
_SHORTEST_S, _LONGEST_S = 0.4, 1.3
_SHORTEST_STEP_S, _LONGEST_STEP_S = 0.2, 0.65
_KNOWN_FRACTION = 0.9
#: Cells are so wide, and shapes so near to their edge are looked for beyond it; in foot lengths. Own choices.
_CELL, _EDGE = 0.12, 0.03
_THOUSANDTH = 1000.0
_UNKNOWN = -32768
#: Of paths one after the other, all but the ends of each, where the slope is one-sided.
_INSIDE = np.tile(np.r_[False, np.ones(POINTS - 2, bool), False], SERIES)
#: Between the heels of a step in its marker.
STEP = "/"


@dataclass(frozen=True, eq=False)
class Shape:
    """One stride or step. marker: the heel or heels it is counted by. points: (SERIES, POINTS) foot lengths, NaN where
    not known.
    """

    marker: str
    number: int
    points: FloatArray

    @cached_property
    def cell(self) -> str:
        """Where it is looked for: the spread of each marker's path and of its height, coarsely."""
        return next(self._cells(0.0))

    @cached_property
    def cells(self) -> frozenset[str]:
        """The cells in which a copy of it may lie."""
        return frozenset(self._cells(_EDGE))

    @cached_property
    def known(self) -> bytes:
        """Which of its paths are known."""
        return self._known.tobytes()

    @cached_property
    def paths(self) -> FloatArray:
        """(n,): its known paths, one after the other, each less its mean."""
        return _paths(self.points, self._known)

    @cached_property
    def moves(self) -> FloatArray:
        """(n, r) orthonormal columns: all that these can become in a copy. They are the same for every comparison."""
        return _moves(self.points, self._known)

    @cached_property
    def _known(self) -> NDArray[np.bool_]:
        return np.asarray(np.isfinite(self.points).all(axis=1))

    def _cells(self, edge: float) -> Iterator[str]:
        squares = self.points.reshape(-1, 3, POINTS).var(axis=2)
        sizes = np.sqrt(np.concatenate([squares.sum(axis=1), squares[:, UP]]))
        sizes = np.where(np.isfinite(sizes), sizes, -1.0)
        return cells_of(self.marker, sizes.tolist(), _CELL, edge)


def cells_of(name: str, sizes: Sequence[float], width: float, edge: float) -> Iterator[str]:
    """The cells in which sizes lie that are off by ``edge`` at most; cells are so wide."""
    ranges = [range(int((size - edge) // width), int((size + edge) // width) + 1) for size in sizes]
    for places in product(*ranges):
        yield ".".join([name, *map(str, places)])


def shapes_of(trial: Trial, processing: Processing) -> list[Shape]:
    """Every whole stride of a running trial, by the left and by the right heel; none of other trials.

    Of a short one, of which a part may hold no whole stride, every step as well.
    """
    if trial.kind != "running" or not trial.marker_rate_hz > 0:
        return []
    names = [f"{role}_{side}" for role in (processing.heel_role, processing.toe_role) for side in SIDES]
    paths = [trial.markers.get(name) for name in names]
    length = foot_length(paths)
    if length is None:
        return []
    sums = [None if path is None else _summed(path / length) for path in paths]
    tops = {
        heel: _tops(path[:, UP], trial.marker_rate_hz)
        for heel, path in zip(names[: len(SIDES)], paths, strict=False)
        if path is not None and np.isfinite(path[:, UP]).any()
    }
    spans = _strides(tops, trial.marker_rate_hz)
    if max(Counter(heel for heel, *_ in spans).values(), default=0) < IN_A_ROW:
        spans += _steps(tops, trial.marker_rate_hz)
    found = [Shape(marker, number, _points(sums, start, end)) for marker, number, start, end in spans]
    return [shape for shape in found if np.isfinite(shape.points).all(axis=1).sum() >= _FEWEST_SERIES]


#: Marker, number, first and last frame.
_Span = tuple[str, int, float, float]


def _strides(tops: Mapping[str, Sequence[float]], rate_hz: float) -> list[_Span]:
    return [
        (heel, number, start, end)
        for heel, own in tops.items()
        for number, (start, end) in enumerate(pairwise(own))
        if _SHORTEST_S < (end - start) / rate_hz < _LONGEST_S
    ]


def _steps(tops: Mapping[str, Sequence[float]], rate_hz: float) -> list[_Span]:
    """From the top of one heel to that of the other, counted through the trial."""
    both = sorted((top, heel) for heel, own in tops.items() for top in own)
    return [
        (f"{one}{STEP}{other}", number, start, end)
        for number, ((start, one), (end, other)) in enumerate(pairwise(both))
        if one != other and _SHORTEST_STEP_S < (end - start) / rate_hz < _LONGEST_STEP_S
    ]


def apart(one: Shape, other: Shape) -> float:
    """Root mean square distance of two strides' points in foot lengths, scaled, turned, either end moved a little.

    Turning a little adds multiples of what lies across, moving and stretching a little multiples of the slope and of
    time times slope, so a linear fit finds them. Infinite where they have too few paths in common.
    """
    if one.known == other.known:
        count, moves, wanted = one.known.count(1), one.moves, other.paths
    else:
        both = np.asarray(np.isfinite(one.points).all(axis=1) & np.isfinite(other.points).all(axis=1))
        count, moves, wanted = int(both.sum()), _moves(one.points, both), _paths(other.points, both)
    if count < _FEWEST_SERIES:
        return float("inf")
    left = (wanted - moves @ (wanted @ moves))[_INSIDE[: len(wanted)]]
    return float(np.sqrt(left @ left / len(left)))


def _paths(points: FloatArray, both: NDArray[np.bool_]) -> FloatArray:
    """(n,): the paths ``both``, one after the other, each less its mean."""
    own = points[both]
    return np.asarray((own - own.mean(axis=1, keepdims=True)).ravel())


def _moves(points: FloatArray, both: NDArray[np.bool_]) -> FloatArray:
    """(n, r) orthonormal columns: all that the paths ``both`` can become."""
    own = points[both]
    slope = np.gradient(own, axis=1)
    parts = np.stack([own, *_turned(points, both), slope, np.linspace(-1.0, 1.0, POINTS) * slope])
    parts = (parts - parts.mean(axis=2, keepdims=True)).reshape(len(parts), -1).T
    found, size, _ = np.linalg.svd(parts, full_matrices=False)
    return np.asarray(found[:, size > np.finfo(float).eps * max(parts.shape) * size.max(initial=0.0)])


def _turned(points: FloatArray, both: NDArray[np.bool_]) -> Iterator[FloatArray]:
    """What small turns about each axis add to the paths ``both``; a marker's three paths are known together."""
    markers = points.reshape(-1, 3, POINTS)
    for one, other in ((0, 1), (0, 2), (1, 2)):
        added = np.zeros_like(markers)
        added[:, one], added[:, other] = markers[:, other], -markers[:, one]
        yield added.reshape(points.shape)[both]


def are_one(one: Sequence[Shape], other: Sequence[Shape]) -> bool:
    """Whether two trials' strides, or steps, are those of one recording, or one is a part of the other's."""
    strides = sorted({shape.marker for shape in one} & {shape.marker for shape in other} - _steps_among(one))
    if any(_in_a_row(_by({marker}, one), _by({marker}, other), ALIKE, IN_A_ROW) for marker in strides):
        return True
    steps = _steps_among(one) | _steps_among(other)
    return _in_a_row(_by(steps, one), _by(steps, other), STEP_ALIKE, STEPS_IN_A_ROW)


def _steps_among(shapes: Sequence[Shape]) -> set[str]:
    return {shape.marker for shape in shapes if STEP in shape.marker}


def _by(markers: set[str], shapes: Sequence[Shape]) -> list[Shape]:
    return [shape for shape in shapes if shape.marker in markers]


def _in_a_row(mine: Sequence[Shape], theirs: Sequence[Shape], alike: float, most: int) -> bool:
    """Whether so many that follow one another are alike, or all if one has fewer."""
    needed = min(most, len(mine), len(theirs))
    pairs = {
        (a.number, b.number)
        for a in mine
        for b in theirs
        if a.marker == b.marker and b.cell in a.cells and apart(a, b) < alike
    }
    return any(all((i + k, j + k) in pairs for k in range(needed)) for i, j in pairs)


def coded(values: FloatArray) -> str:
    """An array of foot lengths as text; ``decoded`` gives it back to a thousandth, flat."""
    whole = np.where(np.isfinite(values), np.clip(np.round(values * _THOUSANDTH), -32767, 32767), _UNKNOWN)
    return base64.b64encode(zlib.compress(whole.astype("<i2").tobytes())).decode("ascii")


def decoded(code: str) -> FloatArray:
    """(n,) of what ``coded`` made a text of."""
    whole: NDArray[np.int16] = np.frombuffer(zlib.decompress(base64.b64decode(code)), "<i2")
    return np.where(whole == _UNKNOWN, np.nan, whole / _THOUSANDTH)


def foot_length(paths: Iterable[FloatArray | None]) -> float | None:
    """Distance of heel and front, mean of the feet that have both; None without one."""
    left_heel, right_heel, left_front, right_front = paths
    lengths = []
    for heel, front in ((left_heel, left_front), (right_heel, right_front)):
        if heel is not None and front is not None:
            between = np.linalg.norm(front - heel, axis=1)
            lengths += [float(np.median(between[np.isfinite(between)]))] if np.isfinite(between).any() else []
    return float(np.mean(lengths)) if lengths and min(lengths) > 0 else None


def _tops(heights: FloatArray, rate_hz: float) -> list[float]:
    """Frames, between frames, at which the heel is highest in each swing."""
    from scipy.signal import find_peaks

    frames = np.arange(len(heights))
    known = np.isfinite(heights)
    smooth = low_pass(np.interp(frames, frames[known], heights[known]), rate_hz, _SMOOTH_HZ)
    tops, _ = find_peaks(smooth, prominence=_PROMINENCE * np.ptp(smooth), distance=max(1, int(_SHORTEST_S * rate_hz)))
    found = []
    for top in tops:
        before, here, after = smooth[top - 1 : top + 2]
        bend = before - 2 * here + after
        found.append(float(top + (before - after) / (2 * bend)) if bend < 0 else float(top))
    return found


def _summed(path: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(n, 3) running integrals of a path, gaps bridged, and (n,) of how much of it is known."""
    known = np.asarray(np.isfinite(path).all(axis=1))
    frames = np.arange(len(path))
    whole = path if known.all() or not known.any() else _bridged(path, frames, known)
    area = np.concatenate([np.zeros((1, 3)), np.cumsum((whole[1:] + whole[:-1]) / 2, axis=0)])
    return area, np.concatenate([[0.0], np.cumsum(known[1:], dtype=float)])


def _bridged(path: FloatArray, frames: NDArray[np.int_], known: NDArray[np.bool_]) -> FloatArray:
    return np.stack([np.interp(frames, frames[known], column[known]) for column in path.T], axis=1)


def _points(sums: Sequence[tuple[FloatArray, FloatArray] | None], start: float, end: float) -> FloatArray:
    """(SERIES, POINTS): mean over each part, not a sample, so that noise matters little; less each path's mean."""
    edges = np.linspace(start, end, POINTS + 1)
    points = np.full((SERIES, POINTS), np.nan)
    for i, summed in enumerate(sums):
        if summed is None:
            continue
        area, known = summed
        place = np.clip(edges, 0, len(known) - 1)
        before = np.minimum(place.astype(int), max(len(known) - 2, 0))
        after, share = np.minimum(before + 1, len(known) - 1), place - before
        seen = known[before] + share * (known[after] - known[before])
        if seen[-1] - seen[0] < _KNOWN_FRACTION * (end - start):
            continue
        at_edges = area[before] + share[:, None] * (area[after] - area[before])
        points[3 * i : 3 * i + 3] = ((at_edges[1:] - at_edges[:-1]) / (edges[1] - edges[0])).T
    return np.asarray(points - points.mean(axis=1, keepdims=True))
