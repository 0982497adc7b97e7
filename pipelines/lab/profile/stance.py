"""How badly each marker fits each landmark by where it lies while people stand; labels are not looked at.

Stature, stance and the way the person faced are not known: those that explain the markers best are taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from pipelines.lab.profile.axes import Axes
from pipelines.lab.profile.files import Recorded
from pipelines.lab.profile.landmarks import LANDMARKS, Landmark
from pipelines.lab.profile.symmetry import plane_of_the_body
from schemas.trial import FloatArray

#: what it costs to leave a role without a marker, in the unit of all penalties: half a squared standard deviation
NOBODY = 4.0
_FAR = 12.0  # no single distance counts more
_STATURES_M = np.arange(1.45, 2.06, 0.10)
_USUAL_M = (1.72, 0.12)  # adults' stature and its spread, both sexes together (from memory)
_STANCES = (0.035, 0.055, 0.075, 0.095)  # half the distance between the ankles' middles, in shares of stature
_MOST_STANDING = 6
_SEEN_ALONG_DEG = 3.0  # a person who stands straighter than this is seen well enough along the axis
_TOLD_ALONG_DEG = 15.0  # nobody stands straighter than this on purpose, so it is not told
#: stature in m, forward position of the ankles in m, half stance in shares of stature
_Fit = tuple[float, float, float]


@dataclass(frozen=True)
class Places:
    """Penalties (labels, roles); roles without a landmark have 0. standing: how many trials they rest on.

    facing: what is to be said of the way people stood, "" if they stood as they run.
    """

    penalty: FloatArray
    standing: int
    facing: str


def side_of(role: str) -> str | None:
    """The side of a role, None for one in the middle."""
    return next((side for side in ("left", "right") if role.endswith(f"_{side}")), None)


def base_of(role: str) -> str:
    """A role without its side."""
    side = side_of(role)
    return role.removesuffix(f"_{side}") if side else role


def places_of(recordings: Sequence[Recorded], axes: Axes, labels: Sequence[str], roles: Sequence[str]) -> Places:
    """The median penalty over standing trials; all 0 if nobody stands or the axes are not known."""
    standing = [r for r in recordings if r.standing][:_MOST_STANDING]
    known = np.array([base_of(role) in LANDMARKS for role in roles])
    if axes.up is None or axes.forward is None or not standing or not known.any():
        return Places(np.zeros((len(labels), len(roles))), 0, "")
    found, ways = [], []
    for recording in standing:
        turns = _turns(axes, plane_of_the_body(recording.points, _upright(axes)))
        stood = [(_stood(recording, turn, labels, roles, known), way) for way, turn in turns]
        (penalty, _), way = min(stood, key=lambda one: one[0][1])
        found.append(penalty)
        ways.append(way)
    stacked = np.stack(found)
    seen = np.isfinite(stacked).any(axis=0)
    middle = np.full(stacked.shape[1:], _FAR / 4)  # of a label that no standing trial has
    middle[seen] = np.nanmedian(stacked[:, seen], axis=0)
    others = sorted({way for way in ways if way != "forward"})
    facing = ""
    if others:
        away = sum(way != "forward" for way in ways)
        facing = (
            f"In {away} of {len(ways)} standing trials the person faced {', '.join(others)} of the running direction."
        )
    return Places(middle, len(standing), facing)


def _upright(axes: Axes) -> FloatArray:
    """Rows forward, up and right of the running direction."""
    assert axes.forward is not None
    assert axes.up is not None
    return np.stack([axes.forward, axes.up, np.cross(axes.forward, axes.up)])


def _turns(axes: Axes, plane_deg: float | None) -> Iterator[tuple[str, FloatArray]]:
    """Ways a person may have faced, with the rows forward, up and right of the person.

    plane_deg: how far to the right of the running direction the body's own plane is turned; None if it is not clear.
    """
    ways = {"forward": 0.0, "backward": 180.0, "to the right": 90.0, "to the left": -90.0}
    if plane_deg is not None and min(plane_deg % 90, 90 - plane_deg % 90) > _SEEN_ALONG_DEG:
        back = plane_deg - 180 if plane_deg > 0 else plane_deg + 180
        turned = [(_turned(angle, ways), angle) for angle in (plane_deg, back)]
    else:
        turned = []
    forward, up, right = _upright(axes)
    for way, angle in (*ways.items(), *turned):
        ahead = np.cos(np.radians(angle)) * forward + np.sin(np.radians(angle)) * right
        yield way, np.stack([ahead, up, np.cross(ahead, up)])


def _turned(angle_deg: float, ways: Mapping[str, float]) -> str:
    """The way that somebody turned so far faced, in words; one of ``ways`` if it is nearly that."""
    for way, angle in ways.items():
        if abs((angle_deg - angle + 180) % 360 - 180) <= _TOLD_ALONG_DEG:
            return way
    return f"{abs(angle_deg):.0f} degrees to the {'right' if angle_deg > 0 else 'left'}"


def _stood(
    recording: Recorded, turn: FloatArray, labels: Sequence[str], roles: Sequence[str], known: NDArray[np.bool_]
) -> tuple[FloatArray, float]:
    """Penalties (labels, roles) of one standing trial seen from one side, NaN for labels it lacks; and the best sum."""
    mean = _standing_means(recording, turn, labels)
    low = mean[:, 1] < np.nanmin(mean[:, 1]) + 0.08
    ankles, step = np.linspace(np.nanmin(mean[low, 0]), np.nanmax(mean[low, 0]), 7, retstep=True)

    def cost(fit: _Fit) -> float:
        penalty = _penalty(mean, fit, roles)
        unusual = 0.5 * ((fit[0] - _USUAL_M[0]) / _USUAL_M[1]) ** 2
        return _least_sum(np.where(np.isfinite(penalty), penalty, _FAR), known) + float(unusual)

    stature, ankle, stance = min(product(_STATURES_M, ankles, _STANCES), key=cost)
    nearby = product((-0.05, 0.0, 0.05), (-step / 3, 0.0, step / 3), (-0.01, 0.0, 0.01))
    best = min(((stature + a, ankle + b, stance + c) for a, b, c in nearby), key=cost)
    return _penalty(mean, best, roles), cost(best)


def _standing_means(recording: Recorded, turn: FloatArray, labels: Sequence[str]) -> FloatArray:
    """(labels, 3) m: forward, above the floor, right of the middle between the feet; NaN for labels it lacks."""
    mean = np.full((len(labels), 3), np.nan)
    own = np.nanmean(recording.points, axis=0) @ turn.T
    for i, label in enumerate(labels):
        if label in recording.labels:
            mean[i] = own[recording.labels.index(label)]
    mean[:, 1] -= _floor(recording, mean[:, 1], turn[1])
    low = mean[:, 1] < np.nanmin(mean[:, 1]) + 0.08
    mean[:, 2] -= (np.nanmax(mean[low, 2]) + np.nanmin(mean[low, 2])) / 2
    return mean


def _floor(recording: Recorded, heights: FloatArray, up: FloatArray) -> float:
    """Height of the floor: of the plates, or zero, if the lowest marker lies just above it; else just below that."""
    lowest = float(np.nanmin(heights))
    plates = [p.height_m * float(p.normal @ up) for p in recording.plates]
    for floor in (*plates[:1], 0.0):
        if 0 < lowest - floor < 0.12:
            return floor
    return lowest - 0.035


def _least_sum(penalty: FloatArray, known: NDArray[np.bool_]) -> float:
    """Sum of the best assignment of the roles that have a landmark."""
    count = int(known.sum())
    costs = np.hstack([penalty.T[known], np.full((count, count), NOBODY)])
    rows, columns = linear_sum_assignment(costs)
    return float(costs[rows, columns].sum())


def _penalty(mean: FloatArray, fit: _Fit, roles: Sequence[str]) -> FloatArray:
    """(labels, roles): half the squared distance in standard deviations, at most ``_FAR``; 0 without a landmark."""
    stature, ankle, stance = fit
    forward, up, right = (mean - [ankle, 0.0, 0.0]).T / stature
    columns = []
    for role in roles:
        landmark = LANDMARKS.get(base_of(role))
        own = np.zeros(len(mean)) if landmark is None else _distance(landmark, role, forward, up, right, stance)
        columns.append(own)
    return np.minimum(np.array(columns).T, _FAR)


def _distance(
    landmark: Landmark, role: str, forward: FloatArray, up: FloatArray, right: FloatArray, stance: float
) -> FloatArray:
    out = (-right if side_of(role) == "left" else right) - (stance if landmark.below_knee else 0.0)
    pairs = ((up, landmark.up), (forward, landmark.forward), (out, landmark.out))
    return np.asarray(0.5 * sum(((seen - place) / spread) ** 2 for seen, (place, spread) in pairs))
