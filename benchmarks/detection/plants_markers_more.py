"""Faults of markers that stay from start to end, of frames, and of the space: what ``faults_markers`` makes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchmarks.detection.plants import PRESENT, Plant, Planting
from benchmarks.detection.specimens import Specimen
from demo_site_uploads.simulator import faults_markers as faults

SIDES = ("left", "right")
_FOOT = ("calcaneus", "second_metatarsal_head", "fifth_metatarsal_head")


def _any_side(chance: np.random.Generator) -> str:
    return str(chance.choice(SIDES))


def _exchanged(one: str, other: str) -> Planting:
    """A plant that exchanges two labels of one leg in every frame."""

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        side = _any_side(chance)
        labels = (specimen.label(f"{role}_{side}") for role in (one, other))
        return specimen.faulty(faults.labels_exchanged_throughout(*labels))

    return plant


def _moved(pairs: tuple[tuple[str, str], ...]) -> Planting:
    """A plant that moves a marker towards another one of its segment, or away from it."""

    def plant(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
        side = _any_side(chance)
        one, other = (specimen.label(f"{role}_{side}") for role in pairs[int(chance.integers(len(pairs)))])
        return specimen.faulty(faults.moved_towards(one, other, size * float(chance.choice([-1, 1]))))

    return plant


def _mirrored(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    points = specimen.recording.points.copy()
    points[:, :, "xyz".index(specimen.profile.axes.forward[1])] *= -1
    return specimen.with_recording(points=points)


def _turned(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.faulty(faults.turned_about_the_vertical(specimen.row.site, size * float(chance.choice([-1, 1]))))


def _plates_off(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The plates' corners are said to lie too low, or too high."""
    axis = specimen.profile.axes.up
    up = np.zeros(3)
    up["xyz".index(axis[1])] = 1000 * size * chance.choice([-1, 1])
    return specimen.with_recording(corners=tuple(corners + up for corners in specimen.recording.corners))


def _held(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    rate, points = specimen.recording.point_rate_hz, specimen.recording.points.copy()
    column = _required(specimen, chance)
    seen = np.flatnonzero(np.isfinite(points[: -round(size * rate) - 1, column]).all(axis=1))
    first = int(chance.choice(seen))
    points[first : first + round(size * rate) + 1, column] = points[first, column]
    return specimen.with_recording(points=points)


def _required(specimen: Specimen, chance: np.random.Generator) -> int:
    roles = [r for r in specimen.study.roles_with_side(required_only=True) if r in specimen.profile.markers]
    return specimen.recording.marker(specimen.label(str(chance.choice(roles))))


def _repeated(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    points = specimen.recording.points.copy()
    count = max(1, round(size / 100 * len(points)))
    for frame in sorted(chance.choice(np.arange(1, len(points)), count, replace=False)):
        points[frame] = points[frame - 1]
    return specimen.with_recording(points=points)


def _drawn_between(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.faulty(faults.frames_drawn_between(int(size)))


def _one_ball(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """For ``size`` seconds one ball carries two labels."""
    side = _any_side(chance)
    one, other = (specimen.label(f"{role}_{side}") for role in chance.choice(_FOOT, 2, replace=False))
    a, b = specimen.recording.marker(one), specimen.recording.marker(other)
    points = specimen.recording.points.copy()
    length = max(1, round(size * specimen.recording.point_rate_hz))
    first = int(chance.integers(0, len(points) - length))
    points[first : first + length, a] = points[first : first + length, b]
    return specimen.with_recording(points=points)


def _many_gaps(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """Gaps of 0.04 s, short enough to be filled, take ``size`` per cent of one marker's frames."""
    recording, points = specimen.recording, specimen.recording.points.copy()
    length = round(0.04 * recording.point_rate_hz)
    count = max(1, round(size / 100 * len(points) / length))
    column = _required(specimen, chance)
    for first in np.linspace(3, len(points) - length - 3, count).astype(int):
        points[first : first + length, column] = np.nan
    return specimen.with_recording(points=points)


def _flickers(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    label = specimen.recording.labels[_required(specimen, chance)]
    rate = specimen.recording.point_rate_hz
    return specimen.faulty(faults.comes_and_goes(label, round(0.03 * rate), max(1, round(0.012 * rate)), int(size)))


def _hidden_at_contact(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    role = str(chance.choice(_FOOT[:2]))  # the two that the strike angle is read from
    labels = {side: specimen.label(f"{role}_{side}") for side in SIDES}
    return specimen.faulty(faults.hidden_at_contacts(labels, size))


def _on_site(fault: Callable[[str, float], faults.Fault]) -> Planting:
    return lambda specimen, size, chance: specimen.faulty(fault(specimen.row.site, size))


def _one_leg_raised(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    side = _any_side(chance)
    labels = [label for role, label in specimen.profile.markers.items() if role.endswith(side)]
    return specimen.faulty(faults.leg_raised(specimen.row.site, size, *labels))


def _stature_wrong(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    right = specimen.row.stature_m or 1.7
    return specimen.with_row(stature_m=round(right * (1 + size / 100 * chance.choice([-1, 1])), 2))


def _leg_length_wrong(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    right = specimen.row.leg_length_m or 0.9
    return specimen.with_row(leg_length_m=round(right + size / 1000 * chance.choice([-1, 1]), 3))


def _noisy(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    return specimen.faulty(faults.noise_added(size))


def _other_sole(specimen: Specimen, size: float, chance: np.random.Generator) -> Specimen:
    """The standing trial was recorded in a shoe whose sole is thicker, or thinner, by ``size`` millimetres."""
    assert specimen.posture is not None
    higher = np.array([0.0, size / 1000 * chance.choice([-1, 1]), 0.0])
    markers = {role: place + higher for role, place in specimen.posture.markers.items()}
    return replace(specimen, posture=replace(specimen.posture, markers=markers))


PLANTS = (
    Plant(
        "coordinates_are_right_handed", "the markers' forward axis points the other way, where runs go one way only", "",
        PRESENT, 1.0, "the runner is seen in a mirror; where runs go both ways, or another axis is turned, left and right "
        "change places and left_and_right_are_on_their_sides tells", plant=_mirrored, sites=("brack", "tarn"), real=True,
    ),
    Plant(
        "runner_runs_forwards", "markers and plates are turned by {size} about the vertical", "deg",
        (20.0, 60.0, 90.0), 90.0, "another axis is called forward", plant=_turned, sites=("brack", "corrie"),
    ),
    Plant(
        "foot_markers_meet_the_plates", "the plates' corners lie {size} too low or too high", "m",
        (0.02, 0.05, 0.1, 0.15), 0.1, "a braking force of 200 N then adds 20 N.m to every joint of the leg",
        plant=_plates_off, sites=("brack", "corrie"), real=True,
    ),
    Plant(
        "markers_are_not_frozen", "a marker keeps its last position for {size}", "s", (0.03, 0.06, 0.1, 0.2), 0.1,
        "gaps up to that length are filled with a curve; a held position makes the speed zero instead",
        plant=_held, real=True,
    ),
    Plant(
        "frames_are_not_repeated", "{size} of the frames are copies of the one before", "%", (0.5, 1.0, 2.0, 5.0), 2.0,
        "several a second: no stride is without one", plant=_repeated, real=True,
    ),
    Plant(
        "frames_are_not_drawn_between_others", "only every {size}th frame was measured", "1", (2.0, 3.0, 4.0), 2.0,
        "events found from markers fall on half of the frames", plant=_drawn_between, real=True,
    ),
    Plant(
        "inner_and_outer_markers_are_on_their_sides", "the labels of second and fifth metatarsal head are exchanged",
        "", PRESENT, 1.0, "the strike angle is read from another marker",
        plant=_exchanged("second_metatarsal_head", "fifth_metatarsal_head"), real=True,
    ),
    Plant(
        "toes_are_ahead_of_heels", "the labels of heel and second metatarsal head are exchanged", "", PRESENT, 1.0,
        "the foot points backwards", plant=_exchanged("calcaneus", "second_metatarsal_head"), real=True,
    ),
    Plant(
        "leg_markers_are_in_order_of_height", "the labels of knee and ankle are exchanged", "", PRESENT, 1.0,
        "the leg is put together wrongly", plant=_exchanged("lateral_femoral_epicondyle", "lateral_malleolus"), real=True,
    ),
    Plant(
        "no_two_markers_are_at_one_place", "one ball of a foot carries two labels for {size}", "s",
        (0.01, 0.03, 0.06, 0.2), 0.06, "a foot angle is wrong for a quarter of a contact", plant=_one_ball, real=True,
    ),
    Plant(
        "segment_lengths_are_those_of_the_standing_trial", "a foot marker was stuck on again {size} elsewhere", "mm",
        (10.0, 15.0, 20.0, 30.0), 20.0, "across the foot's length it is 6 degrees, from one strike class to the next",
        plant=_moved((("calcaneus", "second_metatarsal_head"),)),
    ),
    Plant(
        "few_frames_are_filled", "short gaps take {size} of one marker's frames", "%", (5.0, 10.0, 15.0, 25.0), 15.0,
        "one contact in seven is drawn and not measured", plant=_many_gaps, real=True,
    ),
    Plant(
        "markers_do_not_flicker", "a marker is seen {size} times for an instant between gaps", "1",
        (1.0, 3.0, 4.0, 6.0), 4.0, "such glimpses are reflections as often as they are the marker",
        plant=_flickers, real=True,
    ),
    Plant(
        "foot_markers_are_seen_at_contact", "a foot marker is hidden from {size} before until after each contact", "s",
        (0.005, 0.01, 0.02, 0.03), 0.02, "the strike angle is then drawn and not measured",
        plant=_hidden_at_contact, real=True,
    ),
    Plant(
        "standing_knees_are_straight", "the runner stands with knees bent by {size}", "deg", (10.0, 20.0, 30.0, 40.0),
        30.0, "it is missing from every knee angle of the session; some people stand with 10 degrees",
        plant=_on_site(faults.knees_bent), kind="standing",
    ),
    Plant(
        "standing_feet_are_level", "one foot stands {size} higher", "mm", (10.0, 20.0, 30.0, 45.0), 30.0,
        "one heel raised by it shifts the strike angle by 9 degrees", plant=_one_leg_raised, kind="standing",
    ),
    Plant(
        "hip_height_fits_the_stature", "the stature in the table is {size} off", "%", (5.0, 10.0, 15.0, 20.0), 15.0,
        "two runners' rows are exchanged, or feet and inches misread; smaller slips hide in how people are built",
        plant=_stature_wrong, kind="standing",
    ),
    Plant(
        "leg_length_is_that_of_the_markers", "the leg length in the table is {size} off", "mm",
        (30.0, 60.0, 90.0, 120.0), 90.0, "leg stiffness is a tenth off", plant=_leg_length_wrong, kind="standing",
    ),
    Plant(
        "left_and_right_leg_are_alike", "a knee or foot marker sits {size} beside its landmark, on one side", "mm",
        (10.0, 20.0, 40.0, 60.0), 40.0, "at the knee it turns the shank by 5 degrees",
        plant=_moved((("lateral_femoral_epicondyle", "lateral_malleolus"), ("calcaneus", "second_metatarsal_head"))),
        kind="standing",
    ),
    Plant(
        "standing_markers_are_quiet", "every marker trembles by {size} more", "mm", (0.5, 1.0, 1.5, 2.0), 1.5,
        "at 200 Hz it is 100 m/s2 of noise in every acceleration before filtering", plant=_noisy, kind="standing",
    ),
    Plant(
        "feet_stand_as_high_as_in_the_standing_trial", "the standing trial was in shoes with soles {size} thicker or "
        "thinner", "mm", (5.0, 10.0, 15.0, 20.0, 28.0), 20.0, "a cushioned sole against a thin one or none; thin soles "
        "against none stay unseen", plant=_other_sole,
    ),
)  # fmt: skip
