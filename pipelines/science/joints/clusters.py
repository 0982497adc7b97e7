"""Landmarks worn only while standing, carried by a cluster of markers that are worn while running as well.

A cluster is taken for a rigid body, which skin over muscle is not: how far its markers leave the fitted body is its
misfit, an own reading of the trial. Which cluster carries what is said in the laboratory's profile.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from schemas.study import Cluster
from schemas.trial import FloatArray, Posture, Trial

#: Fewer markers do not tell how a body is turned.
LEAST_MARKERS = 3
#: Own choice: with markers nearer to one line than this (root mean square of their distances from it) a millimetre
#: turns the body about that line by several degrees.
LEAST_BREADTH_M = 0.01
#: Own choice: the two ends of thigh or shank lie further apart, two landmarks of one joint less.
LEAST_SEGMENT_M = 0.2


@dataclass(frozen=True)
class RigidFit:
    """How a rigid body moved: (n, 3, 3) turns, (n, 3) m shifts, (n,) m misfit; NaN where that cannot be told.

    A point of the body that lay at p lies at turns @ p + shifts. misfit: root mean square distance of its markers.
    """

    turns: FloatArray
    shifts: FloatArray
    misfit_m: FloatArray


def rigid_fit(reference: FloatArray, moving: FloatArray) -> RigidFit:
    """Least-squares motion of a rigid body (Soderkvist & Wedin 1993, J Biomech 26:1473), in each frame by itself.

    reference: (k, 3) m. moving: (n, k, 3) m, NaN where a marker is not seen; the fit is by those seen in the frame,
    three or more that do not lie on one line.
    """
    seen = np.isfinite(moving).all(axis=2) & np.isfinite(reference).all(axis=1)
    count = len(moving)
    fit = RigidFit(np.full((count, 3, 3), np.nan), np.full((count, 3), np.nan), np.full(count, np.nan))
    for pattern in np.unique(seen, axis=0):
        frames = np.flatnonzero((seen == pattern).all(axis=1))
        if pattern.sum() >= LEAST_MARKERS and breadth(reference[pattern]) >= LEAST_BREADTH_M:
            _fit_into(fit, frames, reference[pattern], moving[frames][:, pattern])
    return fit


def breadth(points: FloatArray) -> float:
    """How far points (k, 3) m lie from the line that fits them best, root mean square, m; 0 with fewer than three."""
    if len(points) < LEAST_MARKERS or not np.isfinite(points).all():
        return 0.0
    sizes = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return float(np.sqrt(np.sum(sizes[1:] ** 2) / len(points)))


def _fit_into(fit: RigidFit, frames: np.ndarray, reference: FloatArray, moving: FloatArray) -> None:
    middle, middles = reference.mean(axis=0), moving.mean(axis=1)
    spread = np.einsum("nki,kj->nij", moving - middles[:, None], reference - middle)
    left, _, right = np.linalg.svd(spread)
    left[:, :, 2] *= np.sign(np.linalg.det(left @ right))[:, None]  # a turn, not a mirror image
    turns = left @ right
    fit.turns[frames] = turns
    fit.shifts[frames] = middles - turns @ middle
    off = moving - middles[:, None] - np.einsum("nij,kj->nki", turns, reference - middle)
    fit.misfit_m[frames] = np.sqrt(np.mean(np.sum(off**2, axis=2), axis=1))


def with_carried(trial: Trial, posture: Posture | None, clusters: Mapping[str, Cluster]) -> Trial:
    """The running trial with the landmarks that it lacks and a cluster carries; other trials as they are.

    posture: holds the landmarks and the cluster's markers in one standing trial; without it nothing is carried. A
    landmark whose own marker was seen while running stays as it was seen.
    """
    if trial.kind != "running" or posture is None:
        return trial
    markers, filled, misfits = dict(trial.markers), dict(trial.filled), dict[str, FloatArray]()
    carried = dict[str, str]()
    for name, cluster in clusters.items():
        names = [one for one in cluster.marker_names(name) if one in trial.carriers and one in posture.markers]
        wanted = [role for role in cluster.carries if role in posture.markers and not _was_seen(trial, role)]
        if len(names) < LEAST_MARKERS or not wanted:
            continue
        reference = np.stack([posture.markers[one] for one in names])
        fit = rigid_fit(reference, np.stack([trial.carriers[one] for one in names], axis=1))
        misfits[name] = fit.misfit_m
        for role in wanted:
            markers[role] = fit.turns @ posture.markers[role] + fit.shifts
            filled[role] = np.zeros(len(fit.shifts), bool)
            carried[role] = name
    missing = {role: label for role, label in trial.missing_labels.items() if role not in carried}
    return replace(trial, markers=markers, filled=filled, missing_labels=missing, carried=carried, misfits_m=misfits)


def _was_seen(trial: Trial, role: str) -> bool:
    path = trial.markers.get(role)
    return path is not None and bool(np.isfinite(path).all(axis=1).any())


def beyond_its_segment(trial: Trial, posture: Posture, cluster: str) -> float:
    """How far in mm a cluster's middle lies beyond both ends of what it carries, along it, in the standing posture.

    0 where it lies between them, or carries landmarks nearer together than ``LEAST_SEGMENT_M``, which are no two ends.
    """
    ends, middle = _standing(trial, posture, cluster)
    if len(ends) < 2 or not np.isfinite(ends).all() or not np.isfinite(middle).all():
        return 0.0
    apart = np.linalg.norm(ends[:, None] - ends[None], axis=2)
    i, j = np.unravel_index(int(np.argmax(apart)), apart.shape)
    length = float(apart[i, j])
    if length < LEAST_SEGMENT_M:
        return 0.0
    along = float((middle - ends[i]) @ (ends[j] - ends[i])) / length
    return 1000 * max(0.0, -along, along - length)


def nearer_the_other_leg(trial: Trial, posture: Posture, cluster: str) -> bool:
    """Whether a cluster's middle lies nearer to the other leg's landmarks than to those it carries, while standing.

    False where it carries none of a leg, or the other leg's are not in the posture.
    """
    _, middle = _standing(trial, posture, cluster)
    nearer_m = 0.0
    for role in (one for one, by in trial.carried.items() if by == cluster):
        places = [posture.markers.get(one) for one in (role, _other_side(role))]
        own, other = (np.full(3, np.nan) if place is None else place for place in places)
        by = float(np.linalg.norm(middle - own) - np.linalg.norm(middle - other))
        nearer_m += by if np.isfinite(by) else 0.0
    return nearer_m > 0


def _other_side(role: str) -> str:
    bare, _, side = role.rpartition("_")
    return f"{bare}_{'right' if side == 'left' else 'left'}"


def _standing(trial: Trial, posture: Posture, cluster: str) -> tuple[FloatArray, FloatArray]:
    """(k, 3) m the landmarks that a cluster carries, and (3,) m the middle of its markers, in the posture."""
    carried = [posture.markers[role] for role, by in trial.carried.items() if by == cluster and role in posture.markers]
    own = [place for name, place in posture.markers.items() if name.rpartition(".")[0] == cluster]
    return np.array(carried), np.mean(own, axis=0) if own else np.full(3, np.nan)
