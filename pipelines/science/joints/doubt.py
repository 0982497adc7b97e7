"""What it is worth in the joints' outcomes if events, plates or markers are off: first-order propagation, no draws.

What they may be off by is in ``pipelines.science.equipment.doubt``. Angles are read again with contact and toe-off
moved; landmarks are moved one coordinate after the other at the frames an outcome is read at; what the ground turns a
joint by is linear in its force, so that a level, a gain or a lag needs no second inverse dynamics. The highest angle or
moment changes by what it changes by where it is highest.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipelines.science.equipment.doubt import Doubt
from pipelines.science.frames import Rows
from pipelines.science.joints.angles import wrapped
from pipelines.science.joints.landmarks import Landmarks, names_of_leg, roles_of_foot, seen
from pipelines.science.joints.load_doubt import load_squares, sits_m
from pipelines.science.joints.loading import MOMENT
from pipelines.science.joints.loads import LegMoments
from pipelines.science.joints.moments import about, extensor
from pipelines.science.joints.outcomes import ANGLES, Joints, side_angles
from pipelines.science.signals.filters import white_noise_left
from schemas.trial import FORWARD, UP, FloatArray

#: Places are moved by so much to see what it does; small enough that all of it is linear.
_STEP_M = 1e-4
#: Fore-aft noise of a plate as a part of its vertical noise, as in ``equipment.uncertainty``.
_FORE_AFT_NOISE = 0.5
_AT_RANDOM = 12**-0.5

Indices = NDArray[np.int_]


def joint_parts(
    joints: Joints, footfalls: Rows, doubt: Doubt, events: Mapping[str, tuple[float, float]]
) -> dict[str, dict[str, float]]:
    """Part of the uncertainty -> outcome -> what it is worth, root mean square over ``footfalls``.

    footfalls: the first ones of the joints' trial. events: part -> by how much contact and toe-off move by it, s.
    Outcomes are named as in ``outcome_uncertainties``.
    """
    found: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    spans = [
        (str(row["side"]), float(row["contact_s"]), float(row["toe_off_s"]))
        for row in footfalls.records
        if row["side"] in joints.angles_deg
    ]
    for side in dict.fromkeys(side for side, _, _ in spans):
        own = [(start, end) for one, start, end in spans if one == side]
        parts = {part: _by_events(joints, side, own, *moved, part == "lag") for part, moved in events.items()}
        parts["markers"] = _angles_by_markers(joints, side, own, doubt)
        for part, squares in parts.items():
            _note(found[part], joints, side, squares)
    for side, start, end in spans:
        leg = joints.moments.of(side, start, end)
        if leg is None:
            continue
        names = {a.joint: f"{a.joint}/{a.plane}/{a.against}" for a in joints.of_side[side] if a.plane == "sagittal"}
        loaded = joints.moments.loaded(start, end)
        peaks = _moments(joints, leg, loaded, start, end, doubt)
        loads = load_squares(joints.moments, leg, loaded, start, end, doubt)
        for part in peaks:
            for joint in (one for one in leg.joints if one in names):
                moved = loads.get(part, {}).get(joint, {}) | {MOMENT: peaks.get(part, {}).get(joint, np.nan)}
                for column, square in moved.items():
                    found[part][f"{names[joint]}/{column}"].append(square)
    return {part: {name: _root(squares) for name, squares in own.items()} for part, own in found.items()}


def _note(found: dict[str, list[float]], joints: Joints, side: str, squares: FloatArray) -> None:
    """squares: (footfalls, 3, k) as ``Joints.angles_in``."""
    for i, angle in enumerate(joints.of_side[side]):
        for j, column in enumerate(ANGLES):
            found[f"{angle.joint}/{angle.plane}/{angle.against}/{column}"] += squares[:, j, i].tolist()


def _root(squares: list[float]) -> float:
    known = [square for square in squares if np.isfinite(square)]
    return float(np.mean(known) ** 0.5) if known else float("nan")


def _by_events(
    joints: Joints, side: str, spans: list[tuple[float, float]], contact_s: float, toe_off_s: float, alike: bool
) -> FloatArray:
    """(footfalls, 3, k) squared changes of angles by later events. alike: both move together, or each for itself."""
    steps = [(contact_s, toe_off_s)] if alike else [(contact_s, 0.0), (0.0, toe_off_s)]
    steps = [one for one in steps if any(one) and np.isfinite(one).all()]
    total = np.zeros((len(spans), len(ANGLES), joints.angles_deg[side].shape[1]))
    for i, (start, end) in enumerate(spans):
        plain = joints.angles_in(side, start, end)
        for later, off_later in steps:
            total[i] += (joints.angles_in(side, start + later, end + off_later) - plain) ** 2
    return total


def _angles_by_markers(joints: Joints, side: str, spans: list[tuple[float, float]], doubt: Doubt) -> FloatArray:
    """(footfalls, 3, k) squared changes of angles by places of markers."""
    values, rate, settings = joints.angles_deg[side], joints.rate_hz, joints.processing
    count = values.shape[1]
    total = np.full((len(spans), len(ANGLES), count), np.nan)
    whole = [i for i, span in enumerate(spans) if len(_frames(span, rate, len(values)))]
    if not whole:
        return total
    read = np.array([_read_at(values, _frames(spans[i], rate, len(values))) for i in whole])
    turned = _turned(joints, side, read.ravel()).reshape(-1, *read.shape, count) / _STEP_M
    column = np.arange(count)
    # (coordinates, footfalls, k)
    contact, top, low = turned[:, :, 0], turned[:, :, 1 + column, column], turned[:, :, 1 + count + column, column]
    left = white_noise_left(settings.filter_order, settings.marker_cutoff_hz, rate)[0]
    sits = doubt.marker_sits_m**2
    moves = (doubt.marker_shakes_m * left) ** 2 + _skin(joints, side, doubt)[:, None, None] ** 2
    # what sits wrong does so all the time, what shakes or slides does not
    apart = sits * (top - low) ** 2 + moves * (top**2 + low**2)
    squares = (sits + moves) * contact**2, (sits + moves) * top**2, apart
    total[whole] = np.stack([one.sum(axis=0) for one in squares], axis=1)
    for i in whole:  # a landmark that is seen may belong to an angle that is not known
        total[i][:, np.isnan(values[_frames(spans[i], rate, len(values))]).any(axis=0)] = np.nan
    return total


def _frames(span: tuple[float, float], rate_hz: float, length: int) -> Indices:
    """The frames of a contact that have one before and one after."""
    return np.arange(max(1, int(np.ceil(span[0] * rate_hz))), min(length - 1, int(span[1] * rate_hz) + 1))


def _read_at(values: FloatArray, frames: Indices) -> Indices:
    """(1 + 2 k,) the frame of contact, those of the highest and those of the lowest of (frames, k) values."""
    during = values[frames]
    high = np.argmax(np.where(np.isnan(during), -np.inf, during), axis=0)
    low = np.argmin(np.where(np.isnan(during), np.inf, during), axis=0)
    return np.concatenate([frames[:1], frames[high], frames[low]])


def _names(joints: Joints, side: str) -> list[str]:
    """Markers of a leg that the trial has, in the order of ``_turned``."""
    return sorted(seen(joints.trial.markers) & frozenset(names_of_leg(side, joints.processing)))


def _skin(joints: Joints, side: str, doubt: Doubt) -> FloatArray:
    """(coordinates,) m by which what is below each marker moves against it."""
    foot = {f"{role}_{side}" for role in roles_of_foot(joints.processing)}
    each = [doubt.foot_skin_m if name in foot else doubt.skin_m for name in _names(joints, side)]
    return np.repeat(each, 3)


def _turned(joints: Joints, side: str, frames: Indices) -> FloatArray:
    """(coordinates, frames, k) by how much angles in deg change when one coordinate of a marker is off by a step."""
    names = _names(joints, side)
    blocks, each = 1 + 3 * len(names), len(frames)
    stacked = {}
    for i, name in enumerate(names):
        paths = np.tile(joints.smooth.paths[name][frames], (blocks, 1, 1))
        for axis in range(3):
            paths[1 + 3 * i + axis, :, axis] += _STEP_M
        stacked[name] = paths.reshape(-1, 3)
    found = side_angles(Landmarks(stacked, side, joints.processing, frozenset(names)))
    values = np.stack([angle for _, angle in found.values()], axis=1).reshape(blocks, each, -1)
    return wrapped(values[1:] - values[0])


def _moments(
    joints: Joints, leg: LegMoments, loaded: tuple[int, ...], start_s: float, end_s: float, doubt: Doubt
) -> dict[str, dict[str, float]]:
    """Part -> joint -> squared change of the highest moment of one contact."""
    moments, rate = joints.moments, joints.rate_hz
    frames = _frames((start_s, end_s), rate, len(leg.moments))
    during = leg.moments[frames]
    known = [i for i in range(len(leg.joints)) if len(during) and np.isfinite(during[:, i]).all()]
    if not known:
        return {}
    top = {leg.joints[i]: int(frames[np.argmax(during[:, i])]) for i in known}
    mass = float(joints.trial.mass_kg or np.nan)
    cutoff, order = joints.processing.joints.moment_cutoff_hz, joints.processing.filter_order
    noise_left = white_noise_left(order, cutoff, joints.trial.analog_rate_hz or 0.0)[0]
    found: dict[str, dict[str, float]] = {part: {} for part in ("level", "noise", "scale", "lag")}
    placed: dict[str, float] = {}
    for joint, frame in top.items():
        place = leg.points[joint]
        level = noise = 0.0
        for plate in (moments.ground.plates[one] for one in loaded):
            ahead, above = (plate.corners.mean(axis=0) - place[frame])[[FORWARD, UP]]
            still, drift = doubt.level_n.get(plate.number, 0.0), doubt.drift_n.get(plate.number, 0.0)
            level += ahead**2 * (still**2 + (_AT_RANDOM * drift) ** 2) + (above * still) ** 2
            loud = doubt.noise_n.get(plate.number, 0.0) * noise_left
            noise += (ahead * loud) ** 2 + (_FORE_AFT_NOISE * above * loud) ** 2
        found["level"][joint], found["noise"][joint] = level / mass**2, noise / mass**2
        turns = about(place[frames], leg.force[frames], leg.twist[frames])
        ahead_n, up_n = leg.force[frame][[FORWARD, UP]]
        high = place[frame][UP] - moments.ground.plates[loaded[0]].corners[:, UP].mean()
        sheared = high * np.hypot(doubt.horizontal_gain * ahead_n, doubt.crosstalk * up_n)
        found["scale"][joint] = float(((doubt.scale * turns[frame - frames[0]]) ** 2 + sheared**2) / mass**2)
        placed[joint] = float((doubt.plates_sit_m * up_n / mass) ** 2)
        later = [_at(values, np.asarray(frames - doubt.lag_s * rate, float)) for values in (leg.force, leg.twist)]
        change = extensor(joint, -(about(place[frames], *later) - turns)) / mass
        own = leg.moments[frames, leg.joints.index(joint)]
        found["lag"][joint] = float(((own + change).max() - own.max()) ** 2)
    sitting = _moments_by_markers(joints, leg, top, doubt)
    found["markers"] = {joint: square + placed[joint] for joint, square in sitting.items()}
    return found


def _at(values: FloatArray, places: FloatArray) -> FloatArray:
    """Rows of (n, 3) at places between them."""
    count = np.arange(len(values))
    return np.stack([np.interp(places, count, column) for column in values.T], axis=1)


def _moments_by_markers(joints: Joints, leg: LegMoments, top: Mapping[str, int], doubt: Doubt) -> dict[str, float]:
    """Joint -> squared change of its moment at frame ``top`` by places of the points and by their shaking.

    A point that is off has another lever; one that shakes is seen to be accelerated, which the leg's mass makes a
    moment of. Both are found on the three frames that a second difference needs.
    """
    rate, settings = joints.rate_hz, joints.processing
    left, jolted = white_noise_left(settings.filter_order, settings.joints.moment_cutoff_hz, rate)
    place = {name: np.hypot(doubt.marker_shakes_m * left, sits_m(doubt, name)) for name in leg.points}
    jolt = doubt.marker_shakes_m * jolted / (2 * rate**2)  # moves the second difference by the acceleration
    frames = (np.array(list(top.values()))[:, None] + [-1, 0, 1]).ravel()
    moves = [(name, axis, whole) for name in leg.points for axis in (FORWARD, UP) for whole in (True, False)]
    points = {name: np.tile(path[frames], (1 + len(moves), 1, 1)) for name, path in leg.points.items()}
    for block, (name, axis, whole) in enumerate(moves, start=1):
        points[name][block, slice(None) if whole else slice(1, None, 3), axis] += place[name] if whole else jolt
    flat = {name: stacked.reshape(-1, 3) for name, stacked in points.items()}
    force, twist = (np.tile(one[frames], (1 + len(moves), 1)) for one in (leg.force, leg.twist))
    names, values = joints.moments.per_kg(flat, force, twist)
    middle = values.reshape(1 + len(moves), len(top), 3, len(names))[:, :, 1]
    squares = ((middle[1:] - middle[0]) ** 2).sum(axis=0)
    return {joint: float(squares[i, names.index(joint)]) for i, joint in enumerate(top)}
