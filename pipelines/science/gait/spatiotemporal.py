"""Times, distances and speed of running: contact, flight, step, stride, cadence, lengths, duty factor.

Every function takes the footfalls in order of time and the place of one of them. Events come from ``events``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.science.events.from_force import SIDES, Contact
from pipelines.science.frames import Rows
from pipelines.science.signals.sampling import value_at
from schemas.trial import FORWARD, FloatArray

#: Own choice: so long before and after a moment a marker's path is taken for a parabola.
_AROUND_S = 0.06
#: Common practice: a marker seen in less than this share of the frames does not speak for the whole trial.
SPEED_MARKER_SEEN_FRACTION = 0.5


@dataclass(frozen=True)
class Footfall:
    """A contact and the foot it belongs to; side None where it cannot be known."""

    contact: Contact
    side: str | None


def next_of_other_foot(footfalls: Sequence[Footfall], i: int) -> int | None:
    """Place of the footfall that ends the step begun at ``i``.

    It is the next one, and only if it is of the other foot and force was recorded all the time between; else a
    contact is missing and None is returned.
    """
    if i + 1 >= len(footfalls) or footfalls[i + 1].contact.after_gap:
        return None
    return i + 1 if {footfalls[i].side, footfalls[i + 1].side} == set(SIDES) else None


def next_of_same_foot(footfalls: Sequence[Footfall], i: int) -> int | None:
    """Place of the footfall that ends the stride begun at ``i``: two whole steps on. None if either step is missing."""
    other = next_of_other_foot(footfalls, i)
    return None if other is None else next_of_other_foot(footfalls, other)


def contact_time(footfalls: Sequence[Footfall], i: int) -> float:
    """Contact to toe-off of the same foot, in s. Never null."""
    return footfalls[i].contact.duration_s


def flight_time(footfalls: Sequence[Footfall], i: int) -> float | None:
    """Toe-off to the next contact, of the other foot, in s. Null where the step is not recorded."""
    j = next_of_other_foot(footfalls, i)
    return None if j is None else footfalls[j].contact.start_s - footfalls[i].contact.end_s


def step_time(footfalls: Sequence[Footfall], i: int) -> float | None:
    """Contact to the next contact, of the other foot, in s. Null where the step is not recorded."""
    return _between(footfalls, i, next_of_other_foot(footfalls, i))


def stride_time(footfalls: Sequence[Footfall], i: int) -> float | None:
    """Contact to the next contact of the same foot, with one of the other between, in s. Null where not recorded."""
    return _between(footfalls, i, next_of_same_foot(footfalls, i))


def _between(footfalls: Sequence[Footfall], i: int, j: int | None) -> float | None:
    return None if j is None else footfalls[j].contact.start_s - footfalls[i].contact.start_s


def cadence(step_time_s: float | None) -> float | None:
    """Steps per minute, both feet counted: 60 / step_time_s. Null with step_time_s."""
    return None if step_time_s is None else 60 / step_time_s


def duty_factor(contact_time_s: float, step_time_s: float | None, stride_time_s: float | None) -> float | None:
    """Contact time over stride time, or over twice the step time where only the step was recorded; else null.

    Per stride, as Alexander's duty factor, so below 0.5 in running (reference: contact / (2 (contact + flight))).
    """
    if stride_time_s is not None:
        return contact_time_s / stride_time_s
    return None if step_time_s is None else contact_time_s / (2 * step_time_s)


def belt_distance(speed_m_per_s: float | None, time_s: float | None) -> float | None:
    """Distance in m that a belt moves in ``time_s``: a step's or a stride's length on a treadmill. Null with either."""
    return None if speed_m_per_s is None or time_s is None else speed_m_per_s * time_s


def ground_distance(
    footfalls: Sequence[Footfall],
    i: int,
    j: int | None,
    heels: Mapping[str, FloatArray],
    marker_rate_hz: float,
) -> float | None:
    """Distance in m along the running direction from footfall ``i`` to ``j``: a step's or stride's length on a runway.

    Each foot is where its heel marker (``heels``: side -> (frames, 3) m) is in the middle of its contact, by linear
    interpolation. Null where ``j`` is None, a marker is not seen then, or the runner did not move forward.
    """
    if j is None:
        return None
    places = []
    for footfall in (footfalls[i], footfalls[j]):
        heel = heels.get(footfall.side or "")
        if heel is None:
            return None
        middle = (footfall.contact.start_s + footfall.contact.end_s) / 2
        places.append(value_at(heel, marker_rate_hz, middle)[FORWARD])
    distance = float(places[1] - places[0])
    return distance if distance > 0 else None


def runway_speed(markers: Mapping[str, FloatArray], roles: Sequence[str], marker_rate_hz: float) -> float | None:
    """Mean speed along X in m/s: the least-squares slope of each marker of ``roles``, averaged over the markers.

    markers: role with side -> (frames, 3) m. A role stands for itself and for its left and right marker. The slope of
    each marker rather than of their mean, so that a marker which is hidden for a while does not make the mean jump;
    with all markers seen in all frames the two are the same. Null where none of them is seen in at least half the
    frames, or the runner does not move forward: limb markers, which swing, do not stand in for the trunk.
    """
    found = trunk_slopes(markers, roles, marker_rate_hz)
    speed = float(np.mean(found[:, 0])) if len(found) else float("nan")
    return speed if speed > 0 else None


def trunk_slopes(markers: Mapping[str, FloatArray], roles: Sequence[str], marker_rate_hz: float) -> FloatArray:
    """(k, 3) of each marker that ``runway_speed`` takes: slope in m/s, sum of squared times about their mean in s2, and
    time from the first to the last frame it is seen in, s."""
    names = [name for role in roles for name in (role, f"{role}_left", f"{role}_right") if name in markers]
    found = []
    for name in names:
        forward = markers[name][:, FORWARD]
        seen = np.isfinite(forward)
        if seen.sum() >= max(2, SPEED_MARKER_SEEN_FRACTION * len(forward)):
            time = np.flatnonzero(seen) / marker_rate_hz
            lasts = float(time[-1] - time[0])
            time = time - time.mean()
            squares = float(time @ time)
            found.append((float(time @ forward[seen] / squares), squares, lasts))
    return np.array(found, float).reshape(-1, 3)


def speed_uncertainty(slopes: FloatArray, shakes_m: float, sits_m: float) -> float:
    """Standard uncertainty in m/s of the mean of ``trunk_slopes`` (k, 3); NaN without any.

    Of a slope of places that each shake by ``shakes_m`` it is that over the root of the sum of squared times (least
    squares, first principles). Places at both ends of the way that are off by ``sits_m`` each for itself, as in a
    volume that is calibrated so well, add the root of 2 times that over the time between them.
    """
    if not len(slopes):
        return float("nan")
    each = shakes_m**2 / slopes[:, 1] + 2 * sits_m**2 / slopes[:, 2] ** 2
    return float(np.sqrt(each.sum()) / len(each))


def belt_speeds(
    markers: Mapping[str, FloatArray], forefoot_role: str, marker_rate_hz: float, footfalls: Rows
) -> FloatArray:
    """Backward speed in m/s of the forefoot from 30 to 60 % of each contact, when it stands on the belt.

    (k,) of the footfalls in which it is seen.
    """
    speeds = []
    for contact, toe_off, side in zip(*(footfalls.columns[n] for n in ("contact_s", "toe_off_s", "side")), strict=True):
        xyz = markers.get(f"{forefoot_role}_{side}")
        if xyz is None or not (np.isfinite(contact) and np.isfinite(toe_off)):
            continue
        start, stop = (max(0, int(at * marker_rate_hz)) for at in (contact, toe_off))
        times = np.arange(start, min(stop + 2, len(xyz))) / marker_rate_hz
        share, forward = (times - contact) / (toe_off - contact), xyz[start : stop + 2, FORWARD]
        use = (share >= 0.3) & (share <= 0.6) & np.isfinite(forward)
        if use.sum() >= 3:
            since = times[use] - times[use].mean()
            speeds.append(-float(since @ forward[use] / (since @ since)))
    return np.array(speeds)


def speed_gained(
    markers: Mapping[str, FloatArray], roles: Sequence[str], marker_rate_hz: float, footfalls: Rows
) -> FloatArray:
    """(n,) m/s by which the trunk is faster at the next contact of the same foot than at each contact.

    NaN where no whole stride or no marker of ``roles`` is known. Markers swing about the body's centre of mass within a
    stride, but not from one stride to the next.
    """
    names = [name for role in roles for name in (role, f"{role}_left", f"{role}_right") if name in markers]
    starts = footfalls.numbers("contact_s")
    gained = np.full(len(starts), np.nan)
    for i, lasts in enumerate(footfalls.numbers("stride_time_s")):
        if np.isfinite(lasts):
            ends = [_speeds(markers, names, marker_rate_hz, when) for when in (starts[i], starts[i] + lasts)]
            each = ends[1] - ends[0]
            if np.isfinite(each).any():
                gained[i] = float(np.nanmean(each))
    return gained


def _speeds(markers: Mapping[str, FloatArray], names: Sequence[str], rate_hz: float, when_s: float) -> FloatArray:
    """(names,) forward speed in m/s of each marker around a moment; NaN where it is not seen throughout."""
    first, last = round((when_s - _AROUND_S) * rate_hz), round((when_s + _AROUND_S) * rate_hz) + 1
    speeds = np.full(len(names), np.nan)
    time = np.arange(first, last) / rate_hz - when_s
    for i, name in enumerate(names):
        forward = markers[name][max(first, 0) : last, FORWARD]
        if len(forward) == len(time) and np.isfinite(forward).all():
            speeds[i] = np.polyfit(time, forward, 2)[1]
    return speeds
