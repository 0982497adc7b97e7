"""Whether the space of the markers is the study's: handedness, running direction, and one floor with the plates.

Exchanged left and right are for ``markers``, exchanged labels of one leg for ``marker_labels``, the floor of the
standing trial for ``condition_signals``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from checks import showing as show
from checks.markers import shown
from checks.registry import Limit, Looked, Subject, Weight, check, looked, nothing
from pipelines.science.frames import Rows
from pipelines.science.joints import anatomy as landmarks
from pipelines.science.signals import measures as signals
from pipelines.science.signals.middle import of_columns, percentiles
from pipelines.science.workspace import Workspace
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Trial


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="From the feet to the pelvis it goes {angle_deg:.0f} degrees away from the vertical.",
    expected="The pelvis is above the feet, within {most_deg:g} degrees (median of the trial).",
    remedy="The export or the profile calls another axis the vertical: compare 'up' in the profile with the axes of "
    "this recording, markers and force plates both. If the profile is right, export in the laboratory's usual axes. "
    "Labels and units are not to be changed for it.",
    words=("angle_deg",),
    limits={"most_deg": Limit("deg", "common practice: who leans forward has 20 degrees, a wrong axis 90 or 180")},
)
def runner_is_upright(trial: Trial, *, most_deg: float = 45.0) -> Looked:
    """The vertical axis of the markers is the vertical.

    With another axis called up, heights are widths: lengths stay right, and whatever looks at heights sees another
    fault, in labels, units or floor.
    """
    if trial.kind == "reference_contraction":
        return nothing("a reference contraction may be lying down")
    middle = {
        part: [path for role, path in trial.markers.items() if of(role) and np.isfinite(path).all(axis=1).any()]
        for part, of in (("pelvis", _of_pelvis), ("foot", _of_foot))
    }
    if not (middle["pelvis"] and middle["foot"]):
        return nothing("no marker of the pelvis or none of a foot was seen")
    pelvis, foot = (np.mean([of_columns(path, 50)[0] for path in paths], axis=0) for paths in middle.values())
    line = pelvis - foot
    angle = float(np.degrees(np.arctan2(np.hypot(line[FORWARD], line[RIGHT]), line[UP])))
    if not angle > most_deg:
        return looked(1)
    limit = show.number("Angle of the line from feet to pelvis with the vertical", "deg", angle, high=most_deg)
    proof = shown.body(limit, trial, above=False, title="Both legs from the side, in the study's axes")
    fault = {"angle_deg": angle, "place": "axes", "moment_s": 0.0, "shows": proof}
    return looked(1, [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The runner is seen in a mirror: with left on the left, the {what} backwards.",
    expected="Ahead, up and right of the runner form a right-handed system, as on every person (ISB: X forward, Y up, "
    "Z right).",
    remedy="The export turned one axis round or exchanged two of them. Set it to a right-handed system, with the force "
    "plates' corners in the same one, and export again. Do not exchange labels to make up for it.",
    words=("what",),
    limits={"least": Limit("1", "common practice: 1 on a person who looks straight ahead, -1 in a mirror")},
)
def coordinates_are_right_handed(trial: Trial, work: Workspace, *, least: float = 0.5) -> Looked:
    """The recording shows the runner, not the runner's mirror image.

    In a mirror every length is right and a left leg turns like a right one: turning and sideways angles change their
    sign, and forces and markers no longer belong together.
    """
    way = work.anatomy.facing
    if way.ahead is None or way.right is None:
        return nothing("too few markers to know ahead and right of the runner")
    contradicted = any(foot @ way.ahead < 0 for foot in way.feet.values())  # told by toes_are_ahead_of_heels
    if way.handed > -least or way.sides_are_turned or contradicted:  # turned sides: left_and_right_are_on_their_sides
        return looked(1)
    title = "Handedness of ahead, up and right: 1 on a person, −1 in a mirror"
    limit = show.number(title, "1", way.handed, low=-least)
    fault = {
        "what": "feet point" if way.pelvis is None else "pelvis and the feet face",
        "place": "axes",
        "moment_s": 0.0,
        "shows": shown.body(limit, trial, above=True, title="Both legs from above"),
    }
    return looked(1, [fault])


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="The {what} {angle_deg:.0f} degrees away from the study's forward axis.",
    expected="The runner faces forward and the body travels forward over the foot on the ground, within "
    "{turned_deg:g} degrees.",
    remedy="{what_to_do}.",
    words=("what", "angle_deg", "what_to_do"),
    limits={
        "turned_deg": Limit("deg", "common practice: feet and pelvis turn by 20 degrees, a wrong axis by 90 or 180"),
        "slowest_m_per_s": Limit("m/s", "common practice: slower than walking has no direction to be relied on"),
    },
)
def runner_runs_forwards(
    trial: Trial, work: Workspace, *, turned_deg: float = 45.0, slowest_m_per_s: float = 1.0
) -> Looked:
    """The runner faces and travels along the forward axis of the study.

    With another axis called forward, braking is read from the sideways force, step length from the step's width, and
    the strike angle is still right, so that the trial looks sound at first sight.
    """
    if reason := signals.not_running(trial):
        return nothing(reason)
    way, travel = work.anatomy.facing, _travel(trial)
    if way.ahead is None and travel is None:
        return nothing("too few markers to know which way the runner goes")
    if (way.sides_are_turned and not turned_round(way)) or way.handed < -0.5:  # told by left_and_right_are_on_their_
        # sides, and by the mirror's check
        return looked(1)
    for direction, what, remedy in (
        (way.ahead, "runner faces", _AXES),
        (travel, "body travels", _TIME),
    ):
        if direction is None or np.linalg.norm(direction) < (slowest_m_per_s if direction is travel else 0.0):
            continue
        angle = landmarks.degrees_from_forward(direction)
        if angle > turned_deg:
            fault = {"what": what, "angle_deg": angle, "what_to_do": remedy, "place": "running direction"}
            limit = show.number("Angle from the study's forward axis", "deg", angle, high=turned_deg)
            return looked(1, [{**fault, "moment_s": 0.0, "shows": shown.heading(limit, trial, direction)}])
    return looked(1)


def turned_round(way: landmarks.Facing) -> bool:
    """Whether the whole runner faces backwards, sides and all: the axes are turned, and no label is exchanged."""
    return way.ahead is not None and bool(way.ahead[FORWARD] < -0.5) and way.handed > 0.5


_AXES = (
    "Compare 'forward' and 'right' in the profile with the axes of this recording: near 90 degrees another axis is the "
    "running direction, near 180 it points the other way. If the profile is right, export in the site's usual "
    "axes"
)
_TIME = (
    "The runner faces forward and travels another way: look whether the frames were exported in reverse order, or "
    "whether the runner went backwards or across the runway. Export again, or leave the trial out"
)


def _travel(trial: Trial) -> FloatArray | None:
    """(3,) m/s horizontal velocity of the pelvis over a foot on the ground, on a belt as on a runway; None if unknown.

    A foot is on the ground in the frames in which its forefoot is nearest to its own lowest place: the lowest quarter.
    """
    body = [v for role, path in trial.markers.items() if _of_pelvis(role) and (v := _median_velocity(trial, path))]
    feet = []
    for side in signals.SIDES:
        path = trial.markers.get(f"{landmarks.FOREFOOT[0]}_{side}")
        if path is None or not np.isfinite(path[:, UP]).any():
            continue
        height = path[:, UP]
        low = height <= percentiles(height[~np.isnan(height)], 25)[0]
        if (velocity := _median_velocity(trial, path, low)) is not None:
            feet.append(velocity)
    if not body or not feet:
        return None
    flat = np.array([1.0, 0.0, 1.0])
    return np.asarray((np.mean(body, axis=0) - np.mean(feet, axis=0)) * flat)


def _of_pelvis(role: str) -> bool:
    return any(part in role for part in ("sacrum", "iliac_spine", "trochanter"))


def _of_foot(role: str) -> bool:
    return any(part in role for part in (landmarks.HEEL, *landmarks.FOREFOOT))


def _median_velocity(
    trial: Trial, path: FloatArray, where: signals.BoolArray | None = None
) -> tuple[float, ...] | None:
    """m/s, median over the frames ``where``; None without two frames in a row."""
    velocity = np.diff(path, axis=0) * (trial.marker_rate_hz or 1.0)
    if where is not None:
        velocity = velocity[where[1:] & where[:-1]]
    seen = velocity[np.isfinite(velocity).all(axis=1)]
    return tuple(np.median(seen, axis=0)) if len(seen) else None


def _lowest(trial: Trial, role: str, footfall: Mapping[str, Any]) -> float | None:
    """m: lowest place of a marker during one contact; None if it is not seen then."""
    path, rate = trial.markers.get(role), trial.marker_rate_hz or 1.0
    start, stop = float(footfall["contact_s"]), float(footfall["toe_off_s"])
    if path is None or not (np.isfinite(start) and np.isfinite(stop)):
        return None
    heights = path[max(0, round(start * rate)) : max(0, round(stop * rate)) + 1, UP]
    return float(np.nanmin(heights)) if np.isfinite(heights).any() else None


@check(
    about=Subject.TRIAL,
    weight=Weight.RETURNS,
    seen="In contact the forefoot markers come down to {height_mm:.0f} mm above the force plates' surface (median of "
    "{footfalls} footfalls).",
    expected="The lowest forefoot marker of a foot on a plate is {low_mm:g} to {high_mm:g} mm above its surface.",
    remedy="Markers and force plates do not have the same origin: compare the corners in FORCE_PLATFORM with the "
    "calibrated floor, set the height of the one that is wrong, and export again.",
    words=("height_mm", "footfalls"),
    limits={
        "low_mm": Limit("mm", "common practice: a marker lies at least half a ball above the ground"),
        "high_mm": Limit(
            "mm", "common practice: fifth metatarsal head over a thick sole, with a hand's width to spare"
        ),
    },
)
def foot_markers_meet_the_plates(
    trial: Trial, footfalls: Rows, *, low_mm: float = -10.0, high_mm: float = 120.0
) -> Looked:
    """The feet come down to the height at which the force plates are said to lie.

    The moment of a force about the ankle needs both in one space; with the floor 5 cm off, a braking force of
    200 N alone adds 10 N.m to every joint of the leg.
    """
    if reason := signals.without_force(trial) or signals.without_footfalls(trial, footfalls):
        return nothing(reason)
    surface = float(np.mean([plate.corners[:, UP].mean() for plate in trial.plates]))
    heights = []
    for footfall in footfalls.records:
        roles = [f"{part}_{footfall['side']}" for part in landmarks.FOREFOOT]
        found = [(low, role) for role in roles if (low := _lowest(trial, role, footfall)) is not None]
        heights += [(*min(found), footfall["side"])] if found else []
    if not heights or not np.isfinite(surface):
        return nothing("no forefoot marker is seen in contact, or the plates' corners are not known")
    height_mm = 1000 * (float(np.median([h for h, *_ in heights])) - surface)
    if low_mm <= height_mm <= high_mm:
        return looked(len(heights))
    fault = {
        "height_mm": height_mm,
        "footfalls": len(heights),
        "place": "height of the force plates",
        "moment_s": max(0.0, float(footfalls.numbers("contact_s").min())),
        "shows": shown.by_footfall(
            "Lowest forefoot marker in each contact above the plates' surface",
            [h - surface for h, *_ in heights],
            [side for *_, side in heights],
            low_mm / 1000,
            high_mm / 1000,
        ),
    }
    return looked(len(heights), [fault])
