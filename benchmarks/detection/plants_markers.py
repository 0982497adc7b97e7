"""Faults of markers: gaps, exchanged labels, loose markers, jumps, sides, a standing trial that moves."""

from __future__ import annotations

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant
from benchmarks.detection.specimens import Contact, Specimen

_FOOT = ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head")


def _millimetre(specimen: Specimen) -> float:
    return {"mm": 1.0, "m": 0.001}[specimen.recording.point_unit]


def _required(specimen: Specimen, chance: np.random.Generator) -> int:
    roles = [r for r in specimen.study.roles_with_side(required_only=True) if r in specimen.profile.markers]
    return specimen.recording.marker(specimen.label(str(chance.choice(roles))))


def inner_contact(specimen: Specimen, chance: np.random.Generator) -> Contact:
    """One contact that lies wholly within the markers' recording."""
    end = len(specimen.recording.points) / specimen.recording.point_rate_hz
    inner = [c for c in specimen.contacts if c.contact_s > 0.03 and c.toe_off_s < end - 0.03]
    return inner[int(chance.integers(len(inner)))]


def _frames(specimen: Specimen, start_s: float, length_s: float) -> slice:
    rate = specimen.recording.point_rate_hz
    first = max(0, round(start_s * rate))
    return slice(first, min(len(specimen.recording.points), first + max(1, round(length_s * rate))))


def _hidden(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    contact = inner_contact(specimen, chance)
    middle = (contact.contact_s + contact.toe_off_s) / 2
    points = specimen.recording.points.copy()
    points[_frames(specimen, middle - size / 2, size), _required(specimen, chance)] = np.nan
    return specimen.with_recording(points=points)


def _exchanged(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    contact = inner_contact(specimen, chance)
    one, other = chance.choice(_FOOT, 2, replace=False)
    a, b = (specimen.recording.marker(specimen.label(f"{role}_{contact.side}")) for role in (one, other))
    points = specimen.recording.points.copy()
    there = _frames(specimen, contact.contact_s, size)
    points[there, a], points[there, b] = points[there, b].copy(), points[there, a].copy()
    return specimen.with_recording(points=points)


def _come_loose(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """A foot marker sits elsewhere from the middle of the trial, in any direction."""
    role = f"{chance.choice(_FOOT)}_{chance.choice(['left', 'right'])}"
    direction = chance.standard_normal(3)
    points = specimen.recording.points.copy()
    move = size * _millimetre(specimen) * direction / np.linalg.norm(direction)
    points[len(points) // 2 :, specimen.recording.marker(specimen.label(role))] += move
    return specimen.with_recording(points=points)


def _reflection(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    points = specimen.recording.points.copy()
    column = _required(specimen, chance)
    seen = np.flatnonzero(np.isfinite(points[:, column]).all(axis=1))
    inner = seen[(seen > 2) & (seen < len(points) - 3)]
    direction = chance.standard_normal(3)
    move = size * _millimetre(specimen) * direction / np.linalg.norm(direction)
    points[int(chance.choice(inner)), column] += move
    return specimen.with_recording(points=points)


def _weight_shifted(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    share = np.linspace(-1, 2, len(specimen.recording.points)).clip(0, 1)
    shift = size * _millimetre(specimen) * (1 - np.cos(np.pi * share)) / 2
    sideways = np.zeros(3)
    sideways["xyz".index(specimen.profile.axes.right[1])] = 1.0
    return specimen.with_recording(points=specimen.recording.points + shift[:, None, None] * sideways)


def _sides_exchanged(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    pairs = [r.removesuffix("_left") for r in specimen.profile.markers if r.endswith("_left")]
    return _with_sides_exchanged(specimen, pairs)


def _one_pair_exchanged(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    wide = ("lateral_femoral_epicondyle", "greater_trochanter")
    there = [role for role in wide if f"{role}_left" in specimen.profile.markers]
    return _with_sides_exchanged(specimen, [str(chance.choice(there))])


def _with_sides_exchanged(specimen: Specimen, roles: list[str]) -> Specimen:
    turn: dict[str, str] = {}
    for role in roles:
        left, right = (specimen.label(f"{role}_{side}") for side in ("left", "right"))
        turn |= {left: right, right: left}
    return specimen.with_recording(labels=tuple(turn.get(label, label) for label in specimen.recording.labels))


PLANTS = (
    Plant(
        "marker_gaps_are_short",
        "a required marker is hidden for {size} around a contact",
        "s",
        (0.08, 0.12, 0.15, 0.2, 0.3),
        0.15,
        "it is half a contact, and longer than the 0.10 s that are filled",
        plant=_hidden,
        real=True,
    ),
    Plant(
        "markers_keep_their_distance",
        "two labels of one foot change places for {size} from a contact on",
        "s",
        (0.005, 0.02, 0.05, 0.1, 0.3),
        0.02,
        "the strike angle is read in the first frames of contact",
        plant=_exchanged,
        real=True,
    ),
    Plant(
        "markers_keep_their_distance",
        "a foot marker sits {size} elsewhere from the middle of the trial, in any direction",
        "mm",
        (10.0, 20.0, 30.0, 40.0, 60.0),
        60.0,
        "a distance shows only the part of a shift along it, so that a fifth of the shifts of 30 mm cannot show; 60 mm "
        "is a marker that hangs by its wand or slid off its place",
        plant=_come_loose,
        real=True,
    ),
    Plant(
        "markers_move_without_jumps",
        "in one frame a reflection {size} away was taken for the marker",
        "mm",
        (10.0, 20.0, 40.0, 80.0, 160.0),
        40.0,
        "after the filter it still moves the marker by some millimetres; markers on one foot are further apart",
        plant=_reflection,
        real=True,
    ),
    Plant(
        "standing_trial_stands_still",
        "the runner shifts sideways by {size} in the middle of the standing trial",
        "mm",
        (10.0, 20.0, 40.0, 60.0, 120.0),
        40.0,
        "at the hip it leans the legs by more than 2 degrees, which goes into every angle of the session",
        plant=_weight_shifted,
        kind="standing",
    ),
    Plant(
        "left_and_right_are_on_their_sides",
        "all left and right labels are exchanged",
        "",
        PRESENT,
        1.0,
        "every outcome goes to the other leg",
        plant=_sides_exchanged,
        real=True,
    ),
    Plant(
        "left_and_right_are_on_their_sides",
        "the left and right label of knee or hip are exchanged",
        "",
        PRESENT,
        1.0,
        "knee and hip angles of both legs are wrong",
        plant=_one_pair_exchanged,
        real=True,
    ),
)
