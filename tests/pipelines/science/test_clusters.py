"""Landmarks carried by clusters: against known turns, and against what others carried in a real run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.spatial.transform import Rotation

from benchmarks.real_recordings.recordings import TREADMILL, there, treadmill
from pipelines.judging.judge import judge_trial, workspace_of
from pipelines.science.joints.clusters import beyond_its_segment, rigid_fit, with_carried
from schemas.study import Cluster
from schemas.trial import Posture
from tests.builders import a_trial

#: Four markers of a thigh, m, and two landmarks that they carry.
CLUSTER = np.array([[0.05, 0.60, 0.10], [0.06, 0.52, 0.11], [-0.01, 0.61, 0.14], [0.00, 0.50, 0.13]])
LANDMARKS = {"greater_trochanter_left": [0.0, 0.85, 0.15], "lateral_femoral_epicondyle_left": [0.02, 0.45, 0.12]}
SHIFT = np.array([0.1, 0.2, 0.3])
THIGH = Cluster(labels=("a", "b", "c", "d"), carries=tuple(LANDMARKS))
NAMES = THIGH.marker_names("thigh_left")

rotations = arrays(np.float64, 3, elements=st.floats(-3, 3)).map(Rotation.from_rotvec)
shifts = arrays(np.float64, 3, elements=st.floats(-2, 2))


@given(rotations, shifts)
def test_a_known_turn_and_shift_are_found_and_leave_nothing(turn: Rotation, shift: np.ndarray) -> None:
    fit = rigid_fit(CLUSTER, (turn.apply(CLUSTER) + shift)[None])
    assert np.allclose(fit.turns[0], turn.as_matrix(), atol=1e-9)
    assert np.allclose(fit.turns[0] @ LANDMARKS["greater_trochanter_left"] + fit.shifts[0],
                       turn.apply(LANDMARKS["greater_trochanter_left"]) + shift, atol=1e-9)  # fmt: skip
    assert fit.misfit_m[0] < 1e-9


@given(rotations, shifts)
def test_a_mirror_image_is_never_taken_for_a_turn(turn: Rotation, shift: np.ndarray) -> None:
    mirrored = turn.apply(CLUSTER * [1, 1, -1]) + shift
    fit = rigid_fit(CLUSTER, mirrored[None])
    assert np.linalg.det(fit.turns[0]) == pytest.approx(1.0)
    assert fit.misfit_m[0] > 0.005


def test_the_misfit_of_one_marker_off_by_a_known_way_is_that_of_the_best_fit_by_another_library() -> None:
    moved = CLUSTER.copy()
    moved[2] += [0.0, 0.02, 0.0]
    fit = rigid_fit(CLUSTER, moved[None])
    best, rssd = Rotation.align_vectors(moved - moved.mean(axis=0), CLUSTER - CLUSTER.mean(axis=0))
    assert np.allclose(fit.turns[0], best.as_matrix(), atol=1e-6)
    assert fit.misfit_m[0] == pytest.approx(rssd / 2, rel=1e-6)  # root of the sum over four markers


def test_a_hidden_marker_is_done_without_and_two_or_a_line_carry_nothing() -> None:
    moving = np.repeat((CLUSTER + np.array([1.0, 0.0, 0.0]))[None], 3, axis=0)
    moving[1, 0] = np.nan
    moving[2, :2] = np.nan
    fit = rigid_fit(CLUSTER, moving)
    assert np.allclose(fit.shifts[:2], [1.0, 0.0, 0.0])
    assert np.isnan(fit.shifts[2]).all()
    line = np.outer([0.0, 0.1, 0.2], [0.0, 1.0, 0.0])
    assert np.isnan(rigid_fit(line, line[None]).misfit_m).all()


def test_only_what_was_not_worn_is_carried_and_only_in_running_trials_with_a_standing_trial() -> None:
    worn = a_trial()
    frames = len(next(iter(worn.markers.values())))
    markers = {role: path for role, path in worn.markers.items() if role not in LANDMARKS}
    kept = {"lateral_femoral_epicondyle_left": np.zeros((frames, 3))}
    carriers = {name: np.tile(place + SHIFT, (frames, 1)) for name, place in zip(NAMES, CLUSTER, strict=True)}
    trial = replace(worn, markers=markers | kept, carriers=carriers, missing_labels={"greater_trochanter_left": "GT"})
    still = {**dict(zip(NAMES, CLUSTER, strict=True)), **{role: np.array(place) for role, place in LANDMARKS.items()}}
    clusters = {"thigh_left": THIGH}
    done = with_carried(trial, Posture("S", "shod", still), clusters)
    assert np.allclose(done.markers["greater_trochanter_left"], [0.1, 1.05, 0.45])
    assert done.markers["lateral_femoral_epicondyle_left"] is kept["lateral_femoral_epicondyle_left"]
    assert done.carried == {"greater_trochanter_left": "thigh_left"}
    assert done.missing_labels == {}
    assert with_carried(trial, None, clusters) is trial
    standing = replace(trial, kind="standing")
    assert with_carried(standing, Posture("S", "shod", still), clusters) is standing


PARTS = {
    "thigh": (("Thigh.Top.Lateral", "Thigh.Bottom.Lateral", "Thigh.Top.Medial", "Thigh.Bottom.Medial"),
              {"greater_trochanter": "GTR", "lateral_femoral_epicondyle": "Knee", "medial_femoral_epicondyle": "Knee.Medial"}),
    "shank": (("Shank.Top.Lateral", "Shank.Bottom.Lateral", "Shank.Top.Medial", "Shank.Bottom.Medial"),
              {"lateral_malleolus": "Ankle", "medial_malleolus": "Ankle.Medial"}),
    "foot": (("Heel.Top", "Heel.Bottom", "Heel.Lateral", "MT1", "MT5"), {"second_metatarsal_head": "MT2"}),
}  # fmt: skip


@pytest.mark.skipif(not there(), reason="the real recordings are not beside the repository")
def test_landmarks_of_a_real_run_are_carried_to_where_others_carried_them() -> None:
    """Against the copy of the recording in which they were carried without this program, and its misfits."""
    done = treadmill()
    profile = done.job.profile.model_dump()
    profile["clusters"] = {
        f"{part}_{side}": {
            "labels": [f"{side[0].upper()}.{label}" for label in labels],
            "carries": [f"{role}_{side}" for role in landmarks],
        }
        for part, (labels, landmarks) in PARTS.items()
        for side in ("left", "right")
    }
    own = type(done.job.profile).model_validate(profile)
    still = replace(
        done.job, path=TREADMILL / "r02_standing.c3d", profile=own, row=replace(done.job.row, kind="standing")
    )
    job = replace(done.job, path=Path(TREADMILL / "r02_run25.c3d"), profile=own, posture=judge_trial(still).posture)
    ours, theirs = workspace_of(job)[0], done.work.trial
    misfits = done.truth["carried_landmarks"]["cluster_misfit_rms_mm"]
    readings = {row["device"]: row["misfit_m"] for row in ours.equipment_readings.records}
    for part, (_, landmarks) in PARTS.items():
        for side in ("left", "right"):
            truth = misfits[f"{side[0].upper()}.{next(iter(landmarks.values()))}"]
            rms = 1000 * np.sqrt(np.nanmean(ours.trial.misfits_m[f"{part}_{side}"] ** 2))
            assert rms == pytest.approx(truth, abs=0.01 + 0.2 * truth)
            assert 1000 * readings[f"cluster_{part}_{side}"] == pytest.approx(truth, abs=0.01 + 0.3 * truth)
            for role in landmarks:
                apart = 1000 * np.linalg.norm(
                    ours.trial.markers[f"{role}_{side}"] - theirs.markers[f"{role}_{side}"], axis=1
                )
                assert np.nanmedian(apart) < 0.5, (role, side)
            assert beyond_its_segment(ours.trial, job.posture, f"{part}_{side}") == 0.0
    assert len(ours.footfalls) == len(done.work.footfalls)
    assert len(ours.footfall_joints) == len(done.work.footfall_joints)
