"""What the checks of markers show beside what they say. Registers no check and judges nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from checks import showing as show
from checks.evidence import Panel, Part, Picture, Role
from pipelines.science.joints import anatomy as landmarks
from pipelines.science.signals import measures as signals
from pipelines.science.workspace import Workspace
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Trial

FOOT = (landmarks.HEEL, *landmarks.FOREFOOT)
_LEG = (*landmarks.LEG[:3], *FOOT)
_AXES = {FORWARD: "forward", UP: "up", RIGHT: "to the right"}


def words(role: str) -> str:
    """A marker's role in words."""
    return role.replace("_", " ")


def height(trial: Trial, role: str, around: float | None, half_s: float = show.HALF_WINDOW_S) -> Part:
    """The height of a marker over time."""
    return position(trial, role, UP, around, half_s)


def position(trial: Trial, role: str, axis: int, around: float | None, half_s: float = show.HALF_WINDOW_S) -> Part:
    """One coordinate of a marker over time."""
    return show.line("", trial.markers[role][:, axis], _rate(trial), around=around, half_s=half_s)


def _rate(trial: Trial) -> float:
    return trial.marker_rate_hz or 1.0


def legs(trial: Trial, *, above: bool, roles: Sequence[str] = _LEG) -> list[Part]:
    """Both legs in the frame in which most markers are seen, and which leg is which."""
    frames = max((len(path) for path in trial.markers.values()), default=0)
    whole = [path for path in trial.markers.values() if len(path) == frames]
    together = np.sum([np.isfinite(path).all(axis=1) for path in whole], axis=0)
    frame = int(np.argmax(together)) if frames else 0
    drawn = []
    for side in signals.SIDES:
        paths = [trial.markers.get(f"{role}_{side}") for role in roles]
        points = [path[frame] for path in paths if path is not None and len(path) == frames]
        if points:
            drawn.append(show.stick(f"{side}", np.array(points), above=above))
    return [part for part in drawn if part.points]


def body(limit: Panel, trial: Trial, *, above: bool, title: str, roles: Sequence[str] = _LEG) -> Picture:
    """A number, and both legs or what of them is named."""
    drawn = legs(trial, above=above, roles=roles)
    panel = show.from_above(title, *drawn) if above else show.from_side(title, *drawn)
    return show.picture(limit, panel) if drawn else show.picture(limit)


def heading(limit: Panel, trial: Trial, direction: FloatArray) -> Picture:
    """A number, and both feet from above with the way the runner faces or goes."""
    feet = legs(trial, above=True, roles=FOOT)
    start = np.mean([p for part in feet for p in part.points], axis=0) if feet else np.zeros(2)
    way = np.array([direction[FORWARD], direction[RIGHT]])
    arrow = show.path("the way of the runner", np.array([start, start + 0.4 * way / max(float(np.hypot(*way)), 1e-9)]))
    forward = show.path("forward in the study's axes", np.array([start, start + np.array([0.4, 0.0])]), beside=True)
    return show.picture(limit, show.from_above("Feet and directions from above", *feet, arrow, forward))


def beside(
    work: Workspace, start: str, end: str, *, axis: int, low: float | None = None, high: float | None = None
) -> Picture:
    """How far one marker of a leg lies from another along one direction of the runner, medians of the trial.

    Drawn with the leg, each marker where it lies on the whole from ``start``.
    """
    way, above = work.anatomy.facing, axis == RIGHT
    ahead = np.eye(3)[FORWARD] if way.ahead is None else way.ahead
    aside = np.eye(3)[RIGHT] if way.right is None else way.right
    other = aside if above else np.eye(3)[UP]
    side = start.rsplit("_", 1)[-1]
    places = [work.anatomy.vector(start, f"{role}_{side}") for role in _LEG]
    leg = show.path(f"{side} leg", np.array([[p @ ahead, p @ other] for p in places if p is not None]), beside=True)
    there = work.anatomy.vector(start, end)
    found = np.zeros(3) if there is None else there
    heights = [work.anatomy.median_height(role) for role in (end, start)]
    if axis == UP and heights[0] is not None and heights[1] is not None:
        found = np.array([found[FORWARD], heights[0] - heights[1], found[RIGHT]])
    along = float(found @ ahead) if axis == FORWARD else float(found @ other)
    title = f"{words(end)} from {words(start)}".capitalize()
    apart = show.measure("", (0.0, 0.0), (along, 0.0) if axis == FORWARD else (0.0, along))
    ends = [
        Part(Role.STICK, words(role), (show.pair([p @ ahead, p @ other]),))
        for role, p in ((start, np.zeros(3)), (end, found))
    ]
    panel = show.from_above if above else show.from_side
    return show.picture(panel(title, leg, *ends, apart, low=low, high=high))


def apart(
    trial: Trial, first: str, second: str, around: float | None, *, usual: float | None = None, within: float
) -> Picture:
    """The distance of two markers over time, in m. within: of what is usual, or at least that where nothing is."""
    low, high = (within, None) if usual is None else (usual - within, usual + within)
    found = signals.distance(trial.markers, first, second)
    title = f"Distance from {words(first)} to {words(second)}"
    line = show.line("", found, _rate(trial), around=around) if found is not None else None
    return show.picture(show.over_time(title, "m", line, low=low, high=high))


def lasting(
    trial: Trial, role: str, frames: tuple[int, int], name: str, allowed_s: float, axis: int = UP, hidden: bool = False
) -> Picture:
    """A marker's path with a stretch that lasts for too long. hidden: what lies in it is not drawn."""
    (first, stop), rate = frames, _rate(trial)
    middle, half_s = (first + stop) / 2 / rate, (stop - first) / 2 / rate + 0.25
    path = trial.markers[role][:, axis].copy()
    if hidden:
        path[first:stop] = np.nan
    line = show.line("", path, rate, around=middle, half_s=half_s)
    start_s, stop_s = first / rate, stop / rate
    lasts = show.lasting(name, start_s, stop_s)
    title = f"{words(role).capitalize()}: {'height' if axis == UP else f'position {_AXES[axis]}'}"
    return show.picture(show.over_time(title, "m", line, show.span("", start_s, stop_s), lasts, high=allowed_s))


def steps(trial: Trial, ratios: FloatArray, step: int, most_ratio: float) -> Picture:
    """How far markers go from frame to frame, each step (frames - 1,) drawn at its second frame."""
    rate = _rate(trial)
    line = show.line("", ratios, rate, 1 / rate, around=(step + 1) / rate)
    title = "How far markers go from frame to frame, as a part of what the neighbouring frames lead to expect"
    return show.picture(show.over_time(title, "1", line, high=most_ratio))


def jump(trial: Trial, role: str, axis: int, bend_mm: FloatArray, jump: tuple[int, int], jump_mm: float) -> Picture:
    """A marker's path around its first jump, and how far its frames lie off it.

    bend_mm: (frames - 2, 3), how far each third frame leaves the path of the two before; jump: which of them, and the
    frame that is off. A frame that comes back leaves the path of wrong ones: off is what fits neither side.
    """
    (number, frame), rate = jump, _rate(trial)
    at = frame / rate
    from_before, from_behind = (np.full(len(bend_mm) + 2, np.nan) for _ in range(2))
    from_before[2:] = from_behind[:-2] = signals.lengths(bend_mm)
    off_mm = np.fmin(from_before, from_behind)
    off_mm[frame] = from_before[number + 2]
    leaves = show.line("", off_mm, rate, around=at, half_s=0.15)
    title = f"{words(role).capitalize()}: how far each frame lies off the path of its neighbours"
    path = position(trial, role, axis, at, 0.15)
    return show.picture(
        show.over_time(title, "mm", leaves, high=jump_mm),
        show.over_time(f"{words(role).capitalize()}: position {_AXES[axis]}", "m", path),
    )


def repeated(trial: Trial, percent: float, allowed: float, at_s: float) -> Picture:
    """How many frames repeat the one before, and how far markers move from frame to frame."""
    paths = [path for path in trial.markers.values() if len(path) == max(map(len, trial.markers.values()))]
    ways = [signals.lengths(np.diff(path, axis=0)) for path in paths if np.isfinite(path).all()]
    moved = np.max(ways, axis=0) if ways else np.zeros(0)
    limit = show.number("Frames that repeat the one before", "%", percent, high=allowed)
    line = show.line("", 1000 * moved, _rate(trial), 1 / _rate(trial), around=at_s, half_s=0.15)
    return show.picture(limit, show.over_time("Longest way of any marker from frame to frame", "mm", line))


def pairs(limit: Mapping[str, float], crossing_mm: float, trial: Trial) -> Picture:
    """How far left markers lie to the right of right ones, pair by pair in m, and both legs from above."""
    names = list(limit)
    title = "How far the left marker lies to the right of the right one"
    found = show.one_by_one(
        title, "m", [limit[n] / 1000 for n in names], high=crossing_mm / 1000, across="Pair of markers of the study"
    )
    return show.picture(found, show.from_above("Both legs from above", *legs(trial, above=True)))


def swayed(trial: Trial, role: str, axis: int, still_mm: float) -> Picture:
    """The way of a marker that should stand still."""
    path = trial.markers[role][:, axis]
    low = float(np.percentile(path[np.isfinite(path)], 1))
    title = f"{words(role).capitalize()}: position {_AXES[axis]}"
    return show.picture(
        show.over_time(title, "m", position(trial, role, axis, None), low=low, high=low + still_mm / 1000)
    )


def measured_at(work: Workspace, role: str, at_s: float, percent: float, least: float) -> Picture:
    """How many footfalls have both markers of the foot, and what was measured of one around a contact."""
    return show.picture(
        show.number("Footfalls with heel and forefoot measured at contact", "%", percent, low=least),
        _height_where_measured(work, role, at_s, half_s=0.15),
    )


def flickers(work: Workspace, role: str, at_s: float, count: int, most: float) -> Picture:
    """How often a marker appears between two gaps, and its height, where it was measured, around the first time."""
    return show.picture(
        show.number("Times that the marker appears between two gaps", "1", count, high=most),
        _height_where_measured(work, role, at_s, half_s=0.2),
    )


def _height_where_measured(work: Workspace, role: str, at_s: float, half_s: float) -> Panel:
    path = np.where(work.measured[role], work.trial.markers[role][:, UP], np.nan)
    line = show.line("", path, _rate(work.trial), around=at_s, half_s=half_s)
    return show.over_time(f"{words(role).capitalize()}: height, where it was measured", "m", line)


def by_footfall(title: str, heights_m: Iterable[float], sides: Iterable[str], low: float, high: float) -> Picture:
    """A height for each footfall, m."""
    return show.picture(show.one_by_one(title, "m", list(heights_m), list(sides), low=low, high=high))


def misfit(trial: Trial, cluster: str, allowed_mm: float) -> Picture:
    """How far a cluster's markers lie off the shape that they had when standing."""
    line = show.line("", 1000 * trial.misfits_m[cluster], _rate(trial))
    title = f"Cluster {cluster}: root mean square distance of its markers from their standing shape"
    return show.picture(show.over_time(title, "mm", line, high=allowed_mm))


def noise(found_mm: Mapping[str, float], most_mm: float) -> Picture:
    """How much each marker trembles, mm."""
    across = "Marker, in the order of the file"
    return show.picture(
        show.one_by_one("Noise of each marker", "mm", [*found_mm.values()], high=most_mm, across=across)
    )
