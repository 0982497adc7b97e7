"""When a foot is on the ground, by vertical force, and which foot it is. Outcomes of a contact are in other modules."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from schemas.mechanics import runs
from schemas.trial import UP, FloatArray

SIDES = ("left", "right")
#: Common practice: with markers on one foot only, a centre of pressure further from it than this is under the other.
OTHER_FOOT_M = 0.15


@dataclass(frozen=True)
class Contact:
    """One foot on the ground.

    start_s, end_s: linear crossings of the threshold. first, last: samples at or above it, both included.
    after_gap: whether force is missing somewhere since the contact before, so that a step may have been missed.
    """

    start_s: float
    end_s: float
    first: int
    last: int
    after_gap: bool = False

    @property
    def duration_s(self) -> float:
        """Contact time in s."""
        return self.end_s - self.start_s


def find_contacts(
    vertical: FloatArray,
    rate_hz: float,
    *,
    threshold_n: float,
    shortest_contact_s: float = 0.0,
    shortest_flight_s: float = 0.0,
) -> tuple[Contact, ...]:
    """Contacts in a vertical force (n,) in N, in order of time.

    A contact lasts from the upward to the downward crossing of ``threshold_n``, each interpolated linearly between
    the two samples beside it. Interruptions shorter than ``shortest_flight_s`` are closed first, then contacts shorter
    than ``shortest_contact_s`` are dropped; both are measured between crossings. A contact that runs into the start
    or the end of the record, or into samples that are missing or not finite, has no crossing there and is not counted.
    """
    vertical = np.where(np.isfinite(vertical), vertical, np.nan)
    known = ~np.isnan(vertical)
    found: list[Contact] = []
    seen_until = 0
    for first, last in _closed(vertical, threshold_n, shortest_flight_s * rate_hz):
        if first == 0 or last + 1 == len(vertical) or not (known[first - 1] and known[last + 1]):
            continue
        start = _crossing(vertical, first - 1, threshold_n) / rate_hz
        end = _crossing(vertical, last, threshold_n) / rate_hz
        if end - start >= shortest_contact_s:
            found.append(Contact(start, end, first, last, after_gap=not known[seen_until:first].all()))
            seen_until = last + 1
    return tuple(found)


def _closed(vertical: FloatArray, threshold_n: float, shortest_flight: float) -> list[tuple[int, int]]:
    """First and last sample of each contact; interruptions shorter than so many samples are closed.

    An interruption in which force is missing stays open: nobody knows how long it was.
    """
    with np.errstate(invalid="ignore"):
        on = runs(vertical >= threshold_n)
    closed: list[tuple[int, int]] = []
    for start, stop in on:
        if closed and not np.isnan(vertical[closed[-1][1] : start]).any():
            last = closed[-1][1]
            pause = _crossing(vertical, start - 1, threshold_n) - _crossing(vertical, last, threshold_n)
            if pause < shortest_flight:
                closed[-1] = (closed[-1][0], stop - 1)
                continue
        closed.append((start, stop - 1))
    return closed


def _crossing(vertical: FloatArray, before: int, threshold_n: float) -> float:
    """Place of the threshold between sample ``before`` and the next, in samples."""
    a, b = vertical[before], vertical[before + 1]
    return float(before + (threshold_n - a) / (b - a))


def sides_of(
    contacts: Sequence[Contact],
    cop: FloatArray,
    cop_rate_hz: float,
    feet: Mapping[str, tuple[FloatArray, FloatArray]],
    marker_rate_hz: float,
) -> list[str | None]:
    """Which foot is on the ground in each contact: ``left``, ``right``, or None where it cannot be known.

    cop: (n, 3) m, NaN where there is none. feet: side -> heel and forefoot markers, each (frames, 3) m; a side
    without markers is left out. The foot whose heel-to-forefoot line, in space, is nearer to the centre of pressure
    on average over the contact; a foot swinging by is near for a moment only, and high. Without a centre of pressure,
    the foot whose lower marker is lower on average. A hidden marker is stood in for by the other of its foot. With
    markers on one foot only, the other foot is meant where the centre of pressure stays further than
    ``OTHER_FOOT_M`` from it; without a centre of pressure the side is then unknown.
    """
    if not feet or not marker_rate_hz > 0 or not contacts:
        return [None] * len(contacts)
    first = [int(np.ceil(c.start_s * marker_rate_hz)) for c in contacts]
    stop = [int(c.end_s * marker_rate_hz) + 1 for c in contacts]
    frames = np.arange(min(first), max(*stop, min(first)))
    under = _sampled(cop, cop_rate_hz, frames / marker_rate_hz)
    distance: dict[str, FloatArray] = {}
    height: dict[str, FloatArray] = {}
    for side, (heel, forefoot) in feet.items():
        a, b = _frames(heel, frames), _frames(forefoot, frames)
        a, b = np.where(np.isfinite(a), a, b), np.where(np.isfinite(b), b, a)
        distance[side] = _distance_to_segment(under, a, b)
        height[side] = np.minimum(a[:, UP], b[:, UP])
    spans = (
        [slice(begin - frames[0], end - frames[0]) for begin, end in zip(first, stop, strict=True)]
        if len(frames)
        else []
    )
    return [
        _nearer(
            {side: _mean(values[span]) for side, values in distance.items()},
            {side: _mean(values[span]) for side, values in height.items()},
        )
        for span in spans
    ] or [None] * len(contacts)


def _nearer(distance: Mapping[str, float], height: Mapping[str, float]) -> str | None:
    """The side of one contact by its feet's mean distances from the centre of pressure and mean heights."""
    near = {side: value for side, value in distance.items() if np.isfinite(value)}
    if len(near) == 2:
        return _least(near)
    if len(near) == 1 and sum(np.isfinite(v) for v in height.values()) == 1:
        (side, value), *_ = near.items()
        return side if value <= OTHER_FOOT_M else SIDES[1 - SIDES.index(side)]
    low = {side: value for side, value in height.items() if np.isfinite(value)}
    return _least(low) if len(low) == 2 else None


def _least(values: Mapping[str, float]) -> str | None:
    """Side with the smaller value; None when both are the same, since neither can then be told from the other."""
    left, right = values["left"], values["right"]
    return None if left == right else "left" if left < right else "right"


def _mean(values: FloatArray) -> float:
    """Mean of what is known; NaN if nothing is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _frames(positions: FloatArray, frames: np.ndarray) -> FloatArray:
    """Rows of ``positions`` at these frames, NaN for frames that were not recorded."""
    rows = np.full((len(frames), 3), np.nan)
    there = (frames >= 0) & (frames < len(positions))
    rows[there] = positions[frames[there]]
    return rows


def _sampled(samples: FloatArray, rate_hz: float, times: FloatArray) -> FloatArray:
    """Nearest row of samples (n, k) at each time, NaN outside the record."""
    values = np.full((len(times), samples.shape[1]), np.nan)
    index = np.rint(times * rate_hz).astype(int)
    there = (index >= 0) & (index < len(samples))
    values[there] = samples[index[there]]
    return values


def _distance_to_segment(point: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """Distance in m, row by row, from ``point`` to the segment from ``a`` to ``b``, all (n, 3)."""
    along = b - a
    square = (along**2).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.clip(((point - a) * along).sum(axis=1) / square, 0, 1)
    share = np.where(square == 0, 0.0, share)
    return np.asarray(np.linalg.norm(point - a - share[:, None] * along, axis=1))
