"""Joints of a real run: credible, and the same by a second route.

Open data (demotu/BMC, CC BY 4.0), read where it lies beside the repository. The recording has no markers on the knee
and ankle while running, only clusters on thigh and shank; its own calculated landmarks lie 2 to 6 cm off those of its
standing trial. The landmarks are therefore carried from the standing trial here, by scipy's rigid fit of the clusters.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from schemas.processing import Processing
from schemas.trial import Posture, Trial
from tests.as_frames import compute_footfalls, compute_joints, joint_series
from tests.published.force_of_the_real_run import FOLDER, needs_real_run, real_run

pytestmark = needs_real_run
SETTINGS = Processing(marker_cutoff_hz=20, strike_index_toe_fraction=1.39, cop_threshold_n=50)
DIRECT = {
    "calcaneus": "CAL",
    "second_metatarsal_head": "TOE",
    "fifth_metatarsal_head": "MT5",
    "anterior_superior_iliac_spine": "ASI",
    "posterior_superior_iliac_spine": "PSI",
}
CARRIED = {
    "lateral_femoral_epicondyle": ("LFC", "TH"),
    "medial_femoral_epicondyle": ("MFC", "TH"),
    "lateral_malleolus": ("LMAL", "TB"),
    "medial_malleolus": ("MMAL", "TB"),
}


def points_of(name: str) -> dict[str, np.ndarray]:
    import ezc3d

    recording = ezc3d.c3d(str(FOLDER / name))
    labels = recording["parameters"]["POINT"]["LABELS"]["value"]
    return {label: recording["data"]["points"][:3, i].T / 1000 for i, label in enumerate(labels)}


def carried(landmark: np.ndarray, cluster: np.ndarray, moving: np.ndarray) -> np.ndarray:
    """A landmark (3,) that stands with the cluster (3, 3), carried along with it through the frames of ``moving``."""
    path = []
    for frame in moving:
        turn, _ = Rotation.align_vectors(frame - frame.mean(axis=0), cluster - cluster.mean(axis=0))
        path.append(frame.mean(axis=0) + turn.apply(landmark - cluster.mean(axis=0)))
    return np.array(path)


@cache
def recorded() -> tuple[Trial, Posture]:
    run = points_of("run.c3d")
    still = {name: np.nanmean(path, axis=0) for name, path in points_of("static.c3d").items()}
    markers, posture = {}, {}
    for side in ("left", "right"):
        letter = side[0].upper()
        for role, label in DIRECT.items():
            markers[f"{role}_{side}"], posture[f"{role}_{side}"] = run[letter + label].copy(), still[letter + label]
        for role, (label, cluster) in CARRIED.items():
            names = [f"{letter}{cluster}{i}" for i in (1, 2, 3)]
            place = still[letter + label]
            moving = np.stack([run[name] for name in names], axis=1)
            markers[f"{role}_{side}"] = carried(place, np.array([still[name] for name in names]), moving)
            posture[f"{role}_{side}"] = place
    toe, outer = markers["second_metatarsal_head_right"], markers["fifth_metatarsal_head_right"]
    exchanged = toe[:, 0] < outer[:, 0]  # the recording's known fault, mended as its description says
    toe[exchanged], outer[exchanged] = outer[exchanged].copy(), toe[exchanged].copy()
    return real_run(markers), Posture("S", "shod", posture)


def rows() -> pd.DataFrame:
    trial, posture = recorded()
    footfalls = compute_footfalls(trial, SETTINGS, posture)
    return compute_joints(trial, footfalls, posture, SETTINGS, "male").set_index(["side", "joint", "plane"])


def bend(hip: np.ndarray, knee: np.ndarray, ankle: np.ndarray) -> float:
    """Angle in deg by which hip, knee and ankle, (3,) each, miss a straight line, by the scalar product in space."""
    thigh, shank = hip - knee, knee - ankle
    return float(np.degrees(np.arccos(thigh @ shank / np.linalg.norm(thigh) / np.linalg.norm(shank))))


def test_both_legs_have_three_joints_in_three_planes_and_all_values() -> None:
    found = rows()
    assert len(found) == 18
    assert found[["angle_at_contact_deg", "angle_peak_deg", "angle_range_deg"]].notna().all(axis=None)
    assert found.xs("sagittal", level="plane")["moment_peak_nm_per_kg"].notna().all()
    assert set(found["angle_against"]) == {"segment"}


def test_the_knee_bends_as_a_runners_does() -> None:
    # from memory, for a knee that is straight at 0: 5 to 30 deg at contact, 35 to 55 at most in stance. The lower end
    # is 0 here: the left leg, landing on the forefoot, comes down nearly straight (3.5 deg), and a marker is placed
    # to a few degrees. Standing as zero is undone first, since this runner stood with his knees bent.
    _, posture = recorded()
    knee = rows().xs("knee", level="joint").xs("sagittal", level="plane")
    for side in ("left", "right"):
        stood = knee_line(posture.markers, side)
        assert 5 < stood < 15
        assert 0 <= knee.loc[side, "angle_at_contact_deg"] + stood <= 30
        assert 35 <= knee.loc[side, "angle_peak_deg"] + stood <= 55


def knee_line(markers: dict[str, np.ndarray], side: str) -> float:
    """Sagittal knee bend of one moment by plain trigonometry, with the hip where Harrington's pelvis puts it."""
    from pipelines.science.joints.landmarks import Landmarks, seen

    one = {name: place[None] for name, place in markers.items()}
    marks = Landmarks(one, side, SETTINGS, seen(one))
    flat = [(path[0] * [1, 1, 0]) for path in (marks.hip, marks.knee, marks.ankle) if path is not None]
    return bend(*flat)


def test_the_knee_angle_is_the_bend_between_thigh_and_shank_lines_frame_by_frame() -> None:
    trial, posture = recorded()
    plain = SETTINGS.model_copy(update={"marker_cutoff_hz": None})
    for side in ("left", "right"):
        series = next(
            a for a in joint_series(trial, posture, plain) if (a.side, a.joint, a.plane) == (side, "knee", "sagittal")
        )
        stood = knee_line(posture.markers, side)
        for frame in range(0, 123, 10):
            now = knee_line({name: path[frame] for name, path in trial.markers.items()}, side)
            assert series.angle_deg[frame] == pytest.approx(now - stood, abs=1e-6)


def test_planar_and_spatial_flexion_of_the_knee_tell_the_same_story() -> None:
    # two routes through different markers: outer ones in the plane, frames from outer and inner ones in space
    from pipelines.science.joints import frames as joint_frames
    from pipelines.science.joints.landmarks import Landmarks, seen

    trial, posture = recorded()
    for side in ("left", "right"):
        flat = next(
            a
            for a in joint_series(trial, posture, SETTINGS)
            if (a.side, a.joint, a.plane) == (side, "knee", "sagittal")
        )
        frames = Landmarks(trial.markers, side, SETTINGS, seen(trial.markers)).frames()
        turns = joint_frames.rotations(frames["thigh"], frames["shank"])
        spatial = joint_frames.anatomical(turns, "knee", side)[:, 0]
        assert np.corrcoef(flat.angle_deg, spatial)[0, 1] > 0.99


def test_moments_are_those_of_running() -> None:
    # common practice for running: plantarflexors 2 to 4 N.m/kg, knee extensors 0.5 to 4
    moments = rows().xs("sagittal", level="plane")["moment_peak_nm_per_kg"]
    for side in ("left", "right"):
        assert 2.0 < moments[side, "ankle"] < 4.0
        assert 0.5 < moments[side, "knee"] < 4.0


def test_the_ankle_moment_near_its_peak_is_force_times_lever() -> None:
    # in mid-stance the foot is still and light, so the true moment is the ground reaction's about the malleolus
    trial, _ = recorded()
    found = rows()["moment_peak_nm_per_kg"].xs("sagittal", level="plane")
    for plate, side in zip(trial.plates, ("right", "left"), strict=True):
        ankle = trial.markers[f"lateral_malleolus_{side}"]
        at = np.arange(0, 244, 2)  # force at 300 Hz, markers at 150 Hz
        force, moment = plate.force[at], plate.moment[at]
        about = moment[:, 2] - (ankle[:122, 0] * force[:, 1] - ankle[:122, 1] * force[:, 0])
        by_lever = about.max() / 72.84  # what the ground lifts, the calf holds
        assert found[side, "ankle"] == pytest.approx(by_lever, abs=0.05)
