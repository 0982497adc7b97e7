"""Segment and joint angles against Winter's walking trial.

Winter DA, Biomechanics and Motor Control of Human Movement (4th ed. 2009), Appendix A, Table A.1, as stored in
demotu/BMC (CC BY 4.0), data/WinterTableA1.txt: raw coordinates in cm of the right leg, seen from the right. The
coordinates were read in that file; the angles were computed from it outside this project, by Winter's convention.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.joints.angles import ankle_dorsiflexion, direction, knee_flexion

FRAME_1_CM = {
    "rib_cage": (46.98, 104.41),
    "hip": (44.94, 78.58),
    "knee": (41.0, 47.4),
    "fibula": (35.91, 40.53),
    "ankle": (9.31, 21.44),
    "heel": (2.95, 24.24),
    "fifth_metatarsal": (7.53, 9.35),
}
#: frame: thigh, leg, foot, knee flexion in deg
ANGLES = {
    1: (82.80, 39.32, 107.10, 43.47),
    7: (102.02, 40.81, 114.89, 61.20),
    28: (110.52, 107.55, 201.51, 2.97),
    35: (108.73, 93.11, 177.75, 15.61),
    49: (87.25, 78.10, 172.08, 9.15),
    70: (82.83, 38.61, 101.21, 44.22),
    76: (101.46, 40.44, 112.31, 61.02),
    84: (114.99, 73.14, 158.45, 41.85),
    97: (111.20, 108.59, 201.10, 2.61),
    106: (107.42, 90.68, 174.59, 16.73),
}


def place(name: str) -> np.ndarray:
    return np.array([[*FRAME_1_CM[name], 0.0]])


@pytest.mark.parametrize(
    ("start", "end", "expected_deg"),
    [
        ("hip", "rib_cage", 85.48),
        ("knee", "hip", 82.80),
        ("ankle", "knee", 39.32),
        ("ankle", "fibula", 35.67),  # the leg drawn to another marker is another leg
        ("fifth_metatarsal", "heel", 107.10),
    ],
)
def test_segment_directions_of_the_first_frame(start: str, end: str, expected_deg: float) -> None:
    assert direction(place(start), place(end)) == pytest.approx(expected_deg, abs=0.02)


def test_the_knee_flexion_of_the_first_frame_from_its_coordinates() -> None:
    thigh, shank = direction(place("knee"), place("hip")), direction(place("ankle"), place("knee"))
    assert knee_flexion(thigh, shank) == pytest.approx(43.47, abs=0.02)


@pytest.mark.parametrize("frame", ANGLES)
def test_knee_flexion_of_ten_frames(frame: int) -> None:
    thigh, leg, _, knee = ANGLES[frame]
    assert knee_flexion(np.array([thigh]), np.array([leg])) == pytest.approx(knee, abs=0.02)


def test_the_ankle_is_plantarflexed_at_toe_off_and_dorsiflexed_in_mid_stance() -> None:
    # signs only, by hand from the angles above: frame 70 (toe-off) 101.21 - 38.61 - 90, frame 49 172.08 - 78.10 - 90
    at = {frame: float(ankle_dorsiflexion(np.array([a[2]]), np.array([a[1]]))[0]) for frame, a in ANGLES.items()}
    assert at[70] == pytest.approx(-27.40, abs=0.02)
    assert at[49] == pytest.approx(3.98, abs=0.02)
