"""Where landmarks lie to each other: which way the runner faces, and which labels contradict the anatomy.

Pure functions on markers in study axes; registers no check. Limits are in the checks. Vectors are per frame, their
median over the trial stands for the trial, so single wrong frames do not count.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from itertools import pairwise
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

import numpy as np

from pipelines.science.signals.measures import FOOT, SIDES, Markers, lengths
from pipelines.science.signals.middle import known_median, median, percentiles
from schemas.trial import FORWARD, RIGHT, UP, FloatArray

#: outer landmark and inner landmark of one foot or joint
OUTER_AND_INNER = (
    ("fifth_metatarsal_head", "first_metatarsal_head"),
    ("fifth_metatarsal_head", "second_metatarsal_head"),
    ("lateral_malleolus", "medial_malleolus"),
    ("lateral_femoral_epicondyle", "medial_femoral_epicondyle"),
)
#: from the hip down
LEG = ("greater_trochanter", "lateral_femoral_epicondyle", "lateral_malleolus", "fifth_metatarsal_head")
FOREFOOT = ("second_metatarsal_head", "first_metatarsal_head", "fifth_metatarsal_head")
HEEL = FOOT[0]
#: Least mean resultant of a direction that is relied on: common practice, 37 degrees of spread to either side.
STEADY = 0.8
#: A line across the pelvis keeps its length within this: common practice, skin over the trochanters slides by 3 cm.
RIGID_M = 0.08
_PELVIS_FRONT = ("anterior_superior_iliac_spine", "greater_trochanter")
_PELVIS_BACK = ("posterior_superior_iliac_spine", "sacrum")
_SIDEWAYS = (*_PELVIS_FRONT, "posterior_superior_iliac_spine", "lateral_femoral_epicondyle")


@dataclass(frozen=True)
class Facing:
    """Which way the runner faces. Horizontal directions (3,), None where unknown.

    ``ahead`` is the pelvis's, or that of both feet where the pelvis has too few markers. ``handed`` is 1 if ahead, up
    and right form a right-handed system, as they do on every person, -1 in a mirror, about 0 where they contradict.
    """

    pelvis: FloatArray | None
    feet: dict[str, FloatArray]
    right: FloatArray | None

    @property
    def ahead(self) -> FloatArray | None:
        """The pelvis's direction, or else the mean of both feet."""
        if self.pelvis is not None:
            return self.pelvis
        return level(np.sum(list(self.feet.values()), axis=0)) if len(self.feet) == 2 else None

    @property
    def handed(self) -> float:
        """Right-handedness of the recording, from -1 to 1; 0 where it cannot be known."""
        ahead, right = self.ahead, self.right
        if ahead is None or right is None:
            return 0.0
        return float(np.cross(ahead, [0.0, 1.0, 0.0]) @ right)

    @property
    def sides_are_turned(self) -> bool:
        """Whether left and right lie on the wrong sides, which is another check's finding."""
        return self.right is not None and bool(self.right[RIGHT] < -0.5)


def _median(vectors: FloatArray) -> FloatArray | None:
    seen = vectors[np.isfinite(vectors).all(axis=1)]
    return np.array([median(column) for column in seen.T]) if len(seen) else None


def level(of: FloatArray | None) -> FloatArray | None:
    """The horizontal direction of a vector, length 1; None where it has none."""
    if of is None:
        return None
    flat = of * [1.0, 0.0, 1.0]
    length = float(np.linalg.norm(flat))
    return flat / length if length > 1e-6 else None


def across_pelvis(vectors: FloatArray) -> FloatArray:
    """(3,) mean horizontal direction of lines (frames, 3) across the pelvis: of length 1 if it never turns, 0 if it is
    everywhere or the line is not rigid, so that it does not lie across a pelvis.

    Its length is the mean resultant of directional statistics.
    """
    flat = vectors[np.isfinite(vectors).all(axis=1)] * [1.0, 0.0, 1.0]
    long = lengths(flat)
    known = long > 1e-6
    if not known.any() or not _rigid(vectors):
        return np.zeros(3)
    return np.asarray((flat[known] / long[known, None]).mean(axis=0))


def _rigid(vectors: FloatArray) -> bool:
    """Whether lines (frames, 3) keep their length; single wrong frames do not count."""
    low, high = percentiles(lengths(vectors[np.isfinite(vectors).all(axis=1)]), 5, 95)
    return high - low <= RIGID_M  # false where no line is known


def degrees_from_forward(direction: FloatArray) -> float:
    """Angle of a horizontal direction from the study's forward axis, 0 to 180 deg."""
    return float(np.degrees(np.arctan2(abs(direction[RIGHT]), direction[FORWARD])))


def _opposed(feet: dict[str, FloatArray]) -> bool:
    left, right = feet.values()
    return bool(left @ right < 0)


P = ParamSpec("P")
T = TypeVar("T")


def kept(method: Callable[Concatenate[Anatomy, P], T]) -> Callable[Concatenate[Anatomy, P], T]:
    """The method, whose answer is kept for each set of arguments as long as the object is."""

    @wraps(method)
    def answer(self: Anatomy, *args: P.args, **named: P.kwargs) -> T:
        key = (method.__name__, *args, *named.items())
        if key not in self._kept:
            self._kept[key] = method(self, *args, **named)
        return cast(T, self._kept[key])

    return cast("Callable[Concatenate[Anatomy, P], T]", answer)


class Anatomy:
    """What the markers of one trial say, each answer worked out once. markers: role with side -> (frames, 3) m."""

    def __init__(self, markers: Markers) -> None:
        self.markers = markers
        self._kept: dict[tuple[Any, ...], Any] = {}

    @property
    def facing(self) -> Facing:
        """Which way the runner faces, by pelvis, feet and sides."""
        return self._facing()

    @kept
    def vector(self, start: str, end: str) -> FloatArray | None:
        """(3,) m from one marker to the other, median over the frames in which both are seen; None without one."""
        a, b = self.markers.get(start), self.markers.get(end)
        if a is None or b is None or len(a) != len(b):
            return None
        return _median(b - a)

    @kept
    def median_height(self, role: str) -> float | None:
        """m above the floor, median over the trial; None for a marker that was not seen."""
        path = self.markers.get(role)
        if path is None or not np.isfinite(path[:, UP]).any():
            return None
        return known_median(path[:, UP])

    @kept
    def to_the_right(self) -> FloatArray | None:
        """(3,) horizontal direction from the left to the right markers of the pelvis; None where no pair is steady.

        While standing the knees count too; in running they are no rigid pair. The steadier a pair, the more it counts.
        """
        directions = [np.zeros(3)]
        for role in _SIDEWAYS:
            left, right = (self.markers.get(f"{role}_{side}") for side in SIDES)
            if left is not None and right is not None and len(left) == len(right):
                directions.append(across_pelvis(right - left))
        total = np.sum(directions, axis=0)
        return level(total) if np.linalg.norm(total) > 0.5 else None

    @kept
    def pelvis_faces(self) -> FloatArray | None:
        """(3,) horizontal direction from the back of the pelvis to its front; None without markers for both.

        None, too, where it is not steady, so that a marker which is not on the pelvis does not count as its front.
        """
        front, back = self._middle(_PELVIS_FRONT), self._middle(_PELVIS_BACK)
        if front is None or back is None or len(front) != len(back):
            return None
        direction = across_pelvis(front - back)
        return level(direction) if np.linalg.norm(direction) > STEADY else None

    def _middle(self, roles: tuple[str, ...]) -> FloatArray | None:
        """(frames, 3) midpoint of both sides, or the single marker, of the first role that moves as one."""
        for role in roles:
            left, right = (self.markers.get(f"{role}_{side}", self.markers.get(role)) for side in SIDES)
            if left is not None and right is not None and len(left) == len(right) and _rigid(right - left):
                return np.asarray((left + right) / 2)
        return None

    @kept
    def foot_points(self, side: str) -> FloatArray | None:
        """(3,) horizontal direction from the heel of one foot to its forefoot; None without markers for both."""
        lines = [self.vector(f"{HEEL}_{side}", f"{role}_{side}") for role in FOREFOOT[:2]]
        return level(next((line for line in lines if line is not None), None))

    @kept
    def _facing(self) -> Facing:
        feet = {side: points for side in SIDES if (points := self.foot_points(side)) is not None}
        return Facing(self.pelvis_faces(), feet, self.to_the_right())

    @kept
    def heel_ahead_of_toes(self, side: str) -> tuple[str, str, float] | None:
        """The heel's and a forefoot marker's role where the heel lies ahead of it, and by how many m; else None.

        Ahead is where the pelvis faces; without a pelvis it is where the other foot points, so that two feet that
        contradict each other are told by the axis.
        """
        ahead = self.facing.pelvis
        if ahead is None:
            ahead = np.array([1.0, 0.0, 0.0]) if len(self.facing.feet) == 2 and _opposed(self.facing.feet) else None
        if ahead is None:
            return None
        heel = f"{HEEL}_{side}"
        worst: tuple[str, str, float] | None = None
        for role in FOREFOOT:
            line = self.vector(heel, f"{role}_{side}")
            if line is not None and line @ ahead < (0.0 if worst is None else -worst[2]):
                worst = (heel, f"{role}_{side}", float(-line @ ahead))
        return worst

    @kept
    def mislabelled(self, side: str) -> set[str]:
        """Roles without side whose labels on one leg contradict the anatomy; all of the foot where one of it does.

        Checks of lengths leave them alone: an exchange is one fault and is told once, by the checks of labels.
        """
        pairs = [(outer, inner) for outer, inner, _ in self.outer_inside(side)]
        pairs += [(upper, lower) for upper, lower, _ in self.upper_below(side)]
        wrong = {role.removesuffix(f"_{side}") for pair in pairs for role in pair}
        on_the_foot = self.heel_ahead_of_toes(side) is not None or wrong & set(FOREFOOT)
        return wrong | {HEEL, *FOREFOOT} if on_the_foot else wrong

    @kept
    def upper_below(self, side: str) -> list[tuple[str, str, float]]:
        """Upper and lower marker of a leg that lie the wrong way round, and by how many m.

        A foot whose heel and toes are exchanged does not count: its markers are told by that.
        """
        leg = LEG if self.heel_ahead_of_toes(side) is None else LEG[:-1]
        wrong = []
        for upper, lower in pairwise(f"{role}_{side}" for role in leg):
            high, low = self.median_height(upper), self.median_height(lower)
            if high is not None and low is not None and low > high:
                wrong.append((upper, lower, low - high))
        return wrong

    @kept
    def outer_inside(self, side: str) -> list[tuple[str, str, float]]:
        """Outer and inner marker that lie the wrong way round, and by how many m; none where the sides are not known.

        Outward is away from the other leg, so exchanged sides do not look like exchanged inner and outer markers.
        Markers further apart than a knee is wide do not belong to one leg, and a foot whose heel and toes are exchanged
        has no outer side to be judged by.
        """
        if self.facing.right is None:
            return []
        outward = self.facing.right if side == "right" else -self.facing.right
        turned_foot = self.heel_ahead_of_toes(side) is not None
        wrong = []
        for outer, inner in OUTER_AND_INNER:
            line = self.vector(f"{inner}_{side}", f"{outer}_{side}")
            if line is None or np.linalg.norm(line) > 0.15 or (turned_foot and "metatarsal" in outer):
                continue
            if line @ outward < 0:
                wrong.append((f"{outer}_{side}", f"{inner}_{side}", float(-line @ outward)))
        return wrong
