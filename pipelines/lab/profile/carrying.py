"""Which cluster of markers carries a landmark that is worn only while standing: the nearest one on its segment.

A landmark of the knee or the ankle is carried from above, by thigh or shank; the trochanter by the thigh below it; one
of foot or pelvis by the nearest cluster there. What a cluster is, is in ``together``; how it carries, in
``pipelines.science.joints.clusters``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.lab.profile.files import Recorded
from pipelines.lab.profile.stance import base_of, side_of
from pipelines.lab.profile.together import Group
from pipelines.lab.profile.words import read_words
from schemas.trial import FloatArray

_SEGMENT = {"hip": "thigh", "knee": "thigh", "ankle": "shank", "heel": "foot", "forefoot": "foot", "pelvis": "pelvis"}
#: Own choice: a cluster on the landmark's own segment is not further away.
_FURTHEST_M = 0.45
_OF_A_FOOT_M = 0.15  # above the lowest marker


@dataclass(frozen=True)
class Carrier:
    """One cluster as a profile has it. carries: roles, each with the label worn while standing."""

    name: str
    group: Group
    carries: tuple[str, ...]


def carriers_of(
    recordings: Sequence[Recorded], up: FloatArray | None, groups: Sequence[Group], late: Mapping[str, str]
) -> tuple[Carrier, ...]:
    """The clusters that carry landmarks. up: (3,) in lab axes. late: role -> label that is worn only while standing."""
    standing = [r for r in recordings if r.standing]
    if up is None or not standing or not groups:
        return ()
    carried: dict[Group, list[str]] = {}
    for role, label in late.items():
        near = Counter(found for r in standing if (found := _nearest(r, up, groups, role, label)) is not None)
        if near:
            carried.setdefault(near.most_common(1)[0][0], []).append(role)
    return tuple(_named(carried))


def _named(carried: Mapping[Group, Sequence[str]]) -> Iterator[Carrier]:
    names: Counter[str] = Counter()
    for group, roles in carried.items():
        side, segment = side_of(roles[0]), _segment(roles[0])
        name = f"{segment}_{side}" if side else str(segment)
        names[name] += 1
        yield Carrier(name if names[name] == 1 else f"{name}_{names[name]}", group, tuple(roles))


def _region(role: str) -> str | None:
    return next((region for region in _SEGMENT if region in read_words(base_of(role)).strong), None)


def _segment(role: str) -> str | None:
    region = _region(role)
    return _SEGMENT[region] if region else None


def _nearest(recording: Recorded, up: FloatArray, groups: Sequence[Group], role: str, label: str) -> Group | None:
    """The nearest cluster on the segment of a role, in one standing recording; None if there is none."""
    mean = dict(zip(recording.labels, np.nanmean(recording.points, axis=0), strict=True))
    region, place = _region(role), mean.get(label)
    if region is None or place is None or not np.isfinite(place).all():
        return None
    lowest = min(float(own @ up) for own in mean.values() if np.isfinite(own).all())
    found: list[tuple[float, int]] = []
    for number, group in enumerate(groups):
        own = [mean[one] for one in group.labels if one in mean]
        middle = np.mean(own, axis=0) if len(own) == len(group.labels) else np.full(3, np.nan)
        height = float((middle - place) @ up)
        there = {
            "thigh": height > 0 if region == "knee" else height < 0,
            "shank": height > 0,
            "foot": float(middle @ up) - lowest < _OF_A_FOOT_M,
            "pelvis": True,
        }
        if there[_SEGMENT[region]] and (far := float(np.linalg.norm(middle - place))) <= _FURTHEST_M:
            found.append((far, number))
    return groups[min(found)[1]] if found else None
