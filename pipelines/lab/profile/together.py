"""What moves together while a person runs: points that a program computed from others, and clusters of markers.

Both are seen in the movement alone, no word of a label is read. In a file that stores whole numbers no point is exactly
anywhere, and none is told as computed. Which cluster carries which landmark is in ``carrying``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import pdist, squareform

from pipelines.lab.profile.files import Recorded
from pipelines.science.joints.clusters import LEAST_BREADTH_M, LEAST_MARKERS, breadth
from schemas.trial import FloatArray

#: Own choice: no camera measures as alike as this. In an open recording of a runner the stiffest pair of markers on one
#: plate varied by 0.12 mm (Fukuchi et al. 2017, PeerJ 5:e3298, CC BY 4.0); in another points computed from others by
#: 0.0001 mm (github.com/demotu/BMC, CC BY 4.0).
EXACTLY_M = 2e-5
#: Own choice: markers whose distances vary by less, standard deviation over a run, are taken for one body; only below
#: the second that is likely enough to be written as a value. Plates vary by 0.1 to 0.9 mm in two open recordings (the
#: first of those, and J Exp Biol 215:1944, 2012), markers on the skin of one segment by 1 to 6 mm.
RIGID_M, SURELY_RIGID_M = 3e-3, 1e-3
#: Own choice: a plate, or a segment's markers, are not longer.
_LONGEST_M = 0.30
#: Below this a run shows nothing of what keeps its distance.
_FEWEST_FRAMES, _MOST_FRAMES, _MOST_FILES = 20, 200, 6


@dataclass(frozen=True)
class Group:
    """Markers that keep their distances. spread_m: the standard deviation of the one that varies most."""

    labels: tuple[str, ...]
    spread_m: float


@dataclass(frozen=True)
class Together:
    """computed: label -> how it is known to be computed, in words. groups: clusters, each label in one at most.

    runs: in how many running recordings it was looked for.
    """

    computed: Mapping[str, str] = field(default_factory=dict)
    groups: tuple[Group, ...] = ()
    runs: int = 0


def moving_together(recordings: Sequence[Recorded]) -> Together:
    """What moves together in at most six of the recordings in which somebody moves."""
    moving = [r for r in recordings if not r.standing and len(r.points) >= _FEWEST_FRAMES][:_MOST_FILES]
    labels = list(dict.fromkeys(label for r in moving for label in r.labels if label))
    if not moving or len(labels) < 2:
        return Together(runs=len(moving))
    paths = [_paths(recording, labels) for recording in moving]
    spreads = _largest([_spreads(path) for path in paths])
    middles = dict(_halfway(paths, labels))
    exact = _exact(spreads, labels, set(middles))
    told = {own: _kept_in_words([other for other in clique if other != own]) for clique in exact for own in clique}
    measured = [i for i, label in enumerate(labels) if label not in middles and label not in told]
    groups = tuple(_groups(spreads, paths, labels, measured))
    return Together({**told, **middles}, groups, len(moving))


def _paths(recording: Recorded, labels: Sequence[str]) -> FloatArray:
    """(frames, labels, 3) m of frames spread over the recording; NaN for a label it lacks."""
    count = min(_MOST_FRAMES, len(recording.points))
    frames = np.linspace(0, len(recording.points) - 1, count).round().astype(int)
    found = np.full((count, len(labels), 3), np.nan)
    for i, label in enumerate(labels):
        if label in recording.labels:
            found[:, i] = recording.points[frames, recording.labels.index(label)]
    return found


def _spreads(paths: FloatArray) -> FloatArray:
    """(labels, labels) m: how much each distance varies; NaN where two were hardly seen together or lie far apart."""
    count = paths.shape[1]
    spread = np.full((count, count), np.nan)
    for i in range(count - 1):
        apart = np.linalg.norm(paths[:, i + 1 :] - paths[:, i : i + 1], axis=2)
        seen = np.isfinite(apart)
        often = seen.sum(axis=0) >= _FEWEST_FRAMES
        if often.any():
            own = apart[:, often]
            deviation = np.nanstd(own, axis=0)
            places = i + 1 + np.flatnonzero(often)
            spread[i, places] = spread[places, i] = np.where(
                np.nanmean(own, axis=0) < 2 * _LONGEST_M, deviation, np.nan
            )
    return spread


def _largest(spreads: Sequence[FloatArray]) -> FloatArray:
    """The largest of what was seen in any recording; NaN where it was seen in none."""
    stacked = np.stack(spreads)
    return np.where(np.isfinite(stacked).any(axis=0), np.nanmax(np.nan_to_num(stacked, nan=-1.0), axis=0), np.nan)


def _halfway(paths: Sequence[FloatArray], labels: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Labels that lie exactly halfway between two others in every frame, and the words for it."""
    pairs = np.array(list(combinations(range(len(labels)), 2)))
    for k, label in enumerate(labels):
        left = pairs[(pairs != k).all(axis=1)]
        seen = np.zeros(len(left), int)
        for path in paths:
            for frames in np.array_split(path, max(1, len(path) // 10)):  # most pairs are out after a few frames
                off = np.linalg.norm((frames[:, left[:, 0]] + frames[:, left[:, 1]]) / 2 - frames[:, [k]], axis=2)
                keeps = ~(off > EXACTLY_M).any(axis=0)  # a gap says nothing
                seen = (seen + np.isfinite(off).sum(axis=0))[keeps]
                left = left[keeps]
        sure = left[seen >= _FEWEST_FRAMES]
        if len(sure):
            i, j = sure[0]
            yield label, f"computed: exactly halfway between {labels[i]} and {labels[j]} in every frame"


def _exact(spreads: FloatArray, labels: Sequence[str], halfway: set[str]) -> list[list[str]]:
    """Labels that all keep exactly their distances from one another, in sets of which each label is in one."""
    left = [i for i, label in enumerate(labels) if label not in halfway]
    found = []
    while left:
        clique = [left[0]]
        clique += [j for j in left[1:] if all(spreads[i, j] < EXACTLY_M for i in clique)]
        clique = [i for k, i in enumerate(clique) if all(spreads[i, j] < EXACTLY_M for j in clique[:k])]
        if len(clique) > 1:
            found.append([labels[i] for i in clique])
        left = [i for i in left if i not in clique]
    return found


def _kept_in_words(others: Sequence[str]) -> str:
    named = " and ".join([", ".join(others[:-1]), others[-1]] if len(others) > 1 else others)
    return f"computed, or what others were computed from: exactly the same distance from {named} in every frame"


def _groups(
    spreads: FloatArray, paths: Sequence[FloatArray], labels: Sequence[str], among: Sequence[int]
) -> Iterator[Group]:
    """Sets of three or more labels that keep their distances and do not lie on a line; the stiffest are taken first."""
    left = list(among)
    for most_m in (SURELY_RIGID_M, RIGID_M):
        for members in _stiff(spreads, left, most_m):
            whole = next((p for path in paths for p in path[:, members] if np.isfinite(p).all()), None)
            if whole is None or breadth(whole) < LEAST_BREADTH_M:
                continue
            if float(pdist(whole).max()) <= _LONGEST_M:
                yield Group(tuple(labels[i] for i in members), float(np.nanmax(spreads[np.ix_(members, members)])))
                left = [i for i in left if i not in members]


def _stiff(spreads: FloatArray, among: Sequence[int], most_m: float) -> list[list[int]]:
    """Sets of three or more of which no two distances vary by more."""
    if len(among) < LEAST_MARKERS:
        return []
    own = np.nan_to_num(spreads[np.ix_(among, among)], nan=1.0)
    np.fill_diagonal(own, 0.0)
    numbers = fcluster(linkage(squareform(own, checks=False), "complete"), most_m, "distance")
    found = [
        [one for one, own in zip(among, numbers, strict=True) if own == number] for number in dict.fromkeys(numbers)
    ]
    return [members for members in found if len(members) >= LEAST_MARKERS]
