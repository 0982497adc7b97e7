"""What several checks need from signals: runs, levels, centre of pressure, distances, exchanged labels.

Pure functions on arrays and trials; registers no check. Nothing here judges: limits are in the checks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.science.frames import Rows
from pipelines.science.signals.middle import known_median, percentiles
from schemas import mechanics
from schemas.mechanics import runs
from schemas.study import SiteProfile, Study
from schemas.trial import FORWARD, RIGHT, UP, FloatArray, Plate, Trial

BoolArray = NDArray[np.bool_]
Markers = Mapping[str, FloatArray]
#: Two roles whose labels change places, the third marker that tells it, and in which frames they do, (frames,).
Exchange = tuple[str, str, str, BoolArray]

SIDES = ("left", "right")


# --- what kind of trial, whose ---------------------------------------------------------------------------------------


def profile_of(trial: Trial, study: Study) -> SiteProfile | None:
    """The profile of the trial's laboratory; None if the study does not know it."""
    site = study.sites.get(trial.site)
    return site.profile if site else None


def not_running(trial: Trial) -> str | None:
    """Why a check of running has nothing to look at; None for a running trial."""
    return None if trial.kind == "running" else f"a {trial.kind.replace('_', ' ')} trial, not a running trial"


def without_force(trial: Trial) -> str | None:
    """Why a check of running force has nothing to look at; None if there is force of a running trial."""
    if reason := not_running(trial):
        return reason
    if not trial.plates or not trial.analog_rate_hz or not len(trial.force):
        return "no force plate in the recording"
    return None


def without_footfalls(trial: Trial, footfalls: Rows) -> str | None:
    """Why a check of footfalls has nothing to look at; None if there are some."""
    if reason := not_running(trial):
        return reason
    return None if len(footfalls) else "no footfall was found"


def named(trial: Trial, study: Study, role: str) -> str:
    """A marker as the lab knows it: its role and, where the profile tells, the label in the file."""
    profile = profile_of(trial, study)
    label = profile.markers.get(role) if profile else None
    return f"{role} (label {label})" if label else role


def few(names: list[str], what: str) -> str:
    """Names joined by commas, or how many there are when the list would be long."""
    return ", ".join(names) if len(names) <= 3 else f"{len(names)} {what}"


def footfall_place(footfall: Any) -> str:
    """``footfall 3 (right)`` for a row of the footfalls table."""
    return f"footfall {int(footfall['footfall_number'])} ({footfall['side']})"


# --- arrays ----------------------------------------------------------------------------------------------------------


def vertical(plate: Plate) -> FloatArray:
    """Vertical force on the runner, (n,) N."""
    return np.asarray(plate.force, float).reshape(-1, 3)[:, UP]


def unloaded_spells(force: FloatArray, rate_hz: float, edge_s: float) -> list[tuple[int, int]]:
    """Stretches in which nobody stands on the plate, as sample ranges; ``edge_s`` is cut off both their ends.

    The level of an unloaded plate is what the check wants to know, so zero cannot be the yardstick: unloaded is what
    lies in the lowest twentieth of the plate's own range, or within 25 N of its lowest level on a plate nobody hits.
    """
    if not np.isfinite(force).any():
        return []
    low, high = percentiles(force[~np.isnan(force)], 2, 98)
    if abs(low) > abs(high):  # the sign is turned, which is another check's business
        force, low, high = -force, -high, -low
    quiet = force < low + max(0.05 * (high - low), 25.0)
    edge = round(edge_s * rate_hz)
    return [(a + edge, b - edge) for a, b in runs(quiet) if b - a > 2 * edge + 4]


def flat_tops(samples: FloatArray, shortest: int, least: float = 0.0) -> list[tuple[int, int]]:
    """Stretches cut off at the largest or smallest value of a channel, as sample ranges.

    A coarse converter also shows equal samples at the top of a smooth peak, and a quiet channel at its rest, so what
    counts is how much is missing above the stretch, by the slopes of its flanks (``_missing_above``). A round peak that
    was only rounded misses about one step of the converter, the broadest peaks seen in running (up to the sixth power
    of time) fewer than eight; and 0.5 % of the peak, or ``least`` if that is more, changes nothing. Rest is not a top:
    the value must be at least half of the largest the channel reaches.
    """
    x = np.asarray(samples, float)
    known = x[np.isfinite(x)]
    if not len(known):
        return []
    ends = float(known.min()), float(known.max())
    tops = [top for top in ends if abs(top) >= 0.5 * max(map(abs, ends))]
    flat = [(top, a, b) for top in tops for a, b in runs(x == top) if b - a >= shortest]
    if not flat:
        return []
    levels = np.unique(known)
    if len(levels) < 3:
        return []
    gaps = np.diff(levels)
    step = float(gaps[gaps > (levels[-1] - levels[0]) * 1e-9].min())
    return sorted(
        (a, b) for top, a, b in flat if _missing_above(np.abs(top - x), a, b) > max(8 * step, 0.005 * abs(top), least)
    )


def _missing_above(below: FloatArray, start: int, stop: int) -> float:
    """How far a smooth peak would have risen over a flat stretch that it enters and leaves with the slopes beside it.

    ``below``: distance of every sample from the flat level. A parabola that leaves n samples with slope s per sample
    stands n s / 4 higher in their middle. The slope at the edge itself is that of a parabola through the edge and two
    samples outside it, so that a flank that gets steeper does not count as a steep edge; the gentler flank counts.
    """
    reach = max(1, min((stop - start) // 4, 12))  # further off is another part of the movement
    slopes = [
        (4 * below[near] - below[far]) / (2 * reach)
        for near, far in ((start - reach, start - 2 * reach), (stop - 1 + reach, stop - 1 + 2 * reach))
        if 0 <= far < len(below) and np.isfinite(below[[near, far]]).all()
    ]
    return float((stop - start) * min(slopes, default=0.0) / 4)


# --- centre of pressure ----------------------------------------------------------------------------------------------


def centre_of_pressure(plate: Plate) -> FloatArray:
    """(n, 2) m: where the force meets the plate's surface, forward and right. Rows without vertical force are NaN."""
    height = float(np.mean(plate.corners[:, UP]))
    return mechanics.centre_of_pressure(plate.force, plate.moment, height, -np.inf)[:, [FORWARD, RIGHT]]


def distance_outside(corners: FloatArray, points: FloatArray) -> FloatArray:
    """How far points (n, 2) lie beyond the edges of a convex plate: (n,) m, 0 or less inside.

    NaN where the corners are not known or do not enclose a plate.
    """
    flat = np.asarray(corners, float)[:, [FORWARD, RIGHT]]
    along = np.concatenate([flat[1:], flat[:1]]) - flat
    lengths = np.hypot(along[:, 0], along[:, 1])
    if not (lengths > 0).all():
        return np.full(len(points), np.nan)
    out = np.stack([along[:, 1], -along[:, 0]], axis=1) / lengths[:, None]
    out[(out * (flat.mean(axis=0) - flat)).sum(axis=1) > 0] *= -1  # these pointed inward
    beyond: FloatArray = np.max(out @ points.T - (out * flat).sum(axis=1)[:, None], axis=0)
    return beyond


# --- markers that sit on one segment ---------------------------------------------------------------------------------

#: Three landmarks that keep their distances because a shoe or a foot holds them together.
FOOT = ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head")
#: Skin and shoe let foot markers wander less than this; see markers_keep_their_distance, whose default it is.
EXCHANGE_TOLERANCE_M = 0.015
SHANK = ("lateral_malleolus", "lateral_femoral_epicondyle")


def distance(markers: Markers, first: str, second: str) -> FloatArray | None:
    """(frames,) m between two markers; None where one of them is absent or they are never seen together."""
    a, b = markers.get(first), markers.get(second)
    if a is None or b is None or len(a) != len(b) or not len(a):
        return None
    apart = lengths(a - b)
    return apart if np.isfinite(apart).any() else None


def lengths(vectors: FloatArray) -> FloatArray:
    """(n,) of vectors (n, 3); what numpy's norm gives, which is slow for many short rows."""
    x, y, z = vectors.T
    found: FloatArray = np.sqrt(x * x + y * y + z * z)
    return found


def departure(apart: FloatArray) -> FloatArray:
    """(frames,) m: how far a distance is from its median; NaN where it is unknown."""
    return np.abs(apart - known_median(apart))


def exchanges(markers: Markers, tolerance_m: float) -> Iterator[Exchange]:
    """Pairs of foot markers whose labels change places: (first, second, the third marker, frames in which they do).

    In such a frame the third marker's distances to the two fit their medians only the other way round: at least one is
    off by more than ``tolerance_m`` as labelled, and neither is once the labels are exchanged.
    """
    for side in SIDES:
        roles = [f"{role}_{side}" for role in FOOT]
        apart = {frozenset(pair): distance(markers, *pair) for pair in combinations(roles, 2)}
        usual = {pair: None if found is None else known_median(found) for pair, found in apart.items()}
        for third in roles:
            first, second = (role for role in roles if role != third)
            pairs = frozenset((third, first)), frozenset((third, second))
            (to_first, to_second), (one, other) = (apart[p] for p in pairs), (usual[p] for p in pairs)
            if to_first is None or to_second is None or one is None or other is None:
                continue
            as_labelled = np.fmax(abs(to_first - one), abs(to_second - other))
            the_other_way = np.maximum(abs(to_first - other), abs(to_second - one))
            swapped = (as_labelled > tolerance_m) & (the_other_way <= tolerance_m)
            if swapped.any():
                yield first, second, third, swapped


def exchanged_back(markers: Markers, exchanged: Iterable[Exchange]) -> dict[str, FloatArray]:
    """The markers with exchanged foot labels put right; other markers are the same arrays. exchanged: ``exchanges``."""
    mended = dict(markers)
    for first, second, _, swapped in exchanged:
        a, b = mended[first], mended[second]
        mended[first] = np.where(swapped[:, None], b, a)
        mended[second] = np.where(swapped[:, None], a, b)
    return mended
