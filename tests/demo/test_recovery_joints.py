"""Ankle and knee angles of simulated trials through real files against the motion that was simulated."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from demo_site_uploads.simulator.angles import standing_angles, true_joints
from demo_site_uploads.simulator.measure import Asked, simulate_trial
from demo_site_uploads.simulator.truth import truth_of
from pipelines.intake.to_trial import posture_of
from tests.as_frames import compute_footfalls, compute_joints
from tests.demo.recovered import STUDY, complete, through_a_file, true_table

CASES = [
    pytest.param(site, runner, condition, backwards, id=f"{site}-{runner}-{condition}{'-back' * backwards}")
    for site, runner in {"brack": "FS-02", "corrie": "FS-05", "tarn": "FS-12"}.items()
    for condition in ("cushioned", "thin_soled", "unshod")
    for backwards in ((False, True) if site == "corrie" else (False,))
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("joints")


@cache
def _joints(site: str, runner: str, condition: str, backwards: bool, folder: Path) -> tuple:
    name = f"J-{site}-{runner}-{condition}-{backwards}"
    still = simulate_trial(f"{name}-still", site, runner, condition, "week_0", Asked("standing"))
    simulated = simulate_trial(name, site, runner, condition, "week_0", Asked(backwards=backwards))
    trial = through_a_file(simulated, site, folder)
    true = complete(simulated)
    footfalls = compute_footfalls(trial, STUDY.processing, None) if trial.plates else true_table(simulated, true)
    posture = posture_of(through_a_file(still, site, folder))
    found = compute_joints(trial, footfalls, posture, STUDY.processing, simulated.runner.sex)
    return simulated, still, true, found


@pytest.mark.parametrize(("site", "runner", "condition", "backwards"), CASES)
def test_sagittal_angles_at_contact_peak_and_range_come_back(
    site: str, runner: str, condition: str, backwards: bool, folder: Path
) -> None:
    simulated, still, true, found = _joints(site, runner, condition, backwards, folder)
    rows = found[(found["plane"] == "sagittal") & found["joint"].isin(["ankle", "knee"])].to_dict("records")
    assert len(rows) == 2 * len(true)
    for row in rows:
        joint = true_joints(simulated, true[row["footfall_number"] - 1])[row["joint"]]
        zero = standing_angles(still, row["side"])[row["joint"]]
        # markers are noisy by 0.2 mm, filtered at 20 Hz and 4 or 5 ms apart; the foot turns fastest just after contact
        assert row["angle_at_contact_deg"] == pytest.approx(joint.at_contact_deg - zero, abs=0.5)
        assert row["angle_peak_deg"] == pytest.approx(joint.peak_deg - zero, abs=0.4)
        assert row["angle_range_deg"] == pytest.approx(joint.range_deg, abs=1.2)


@pytest.mark.parametrize("condition", ["cushioned", "unshod"])
def test_moments_powers_and_work_come_back_where_there_is_force(condition: str, folder: Path) -> None:
    """Truth is the leg below the joint taken as one body; the pipeline goes from segment to segment."""
    simulated, still, true, found = _joints("brack", "FS-02", condition, False, folder)
    truths = truth_of(simulated, still, STUDY.processing)
    assert [x.contact_s for x in truths] == pytest.approx([f.contact_at_20n_s for f in true[: len(truths)]], abs=1e-4)
    flat = found[(found["plane"] == "sagittal") & found["joint"].isin(["ankle", "knee"])]
    rows = flat[flat["footfall_number"] <= len(truths)].to_dict("records")
    assert len(rows) >= 8
    for row in rows:
        own = {
            name.rpartition("/")[2]: value
            for name, value in truths[row["footfall_number"] - 1].values.items()
            if name.startswith(row["joint"])
        }
        # 20 Hz take something off the quick bending at landing
        assert row["moment_peak_nm_per_kg"] == pytest.approx(own["moment_peak_nm_per_kg"], rel=0.06)
        assert row["positive_work_j_per_kg"] == pytest.approx(own["positive_work_j_per_kg"], abs=0.06)
        assert row["negative_work_j_per_kg"] == pytest.approx(own["negative_work_j_per_kg"], abs=0.06)


def test_moments_are_null_where_there_is_no_force(folder: Path) -> None:
    _, _, _, without = _joints("tarn", "FS-12", "cushioned", False, folder)
    assert without["moment_peak_nm_per_kg"].isna().all()


def test_without_a_standing_trial_angles_are_null_and_the_trial_is_still_usable(folder: Path) -> None:
    simulated = simulate_trial("J-alone", "brack", "FS-01", "unshod", "week_0")
    trial = through_a_file(simulated, "brack", folder)
    footfalls = compute_footfalls(trial, STUDY.processing, None)
    joints = compute_joints(trial, footfalls, None, STUDY.processing, "female")
    assert len(joints) > 0
    assert joints["angle_at_contact_deg"].isna().all()
    assert footfalls["foot_strike_angle_deg"].isna().all()
    assert footfalls["active_peak_bw"].notna().all()


def test_a_missing_side_leaves_the_other_as_it_is(folder: Path) -> None:
    simulated = simulate_trial("J-half", "brack", "FS-01", "cushioned", "week_0")
    still = simulate_trial("J-half-still", "brack", "FS-01", "cushioned", "week_0", Asked("standing"))
    whole = through_a_file(simulated, "brack", folder)
    posture = posture_of(through_a_file(still, "brack", folder))
    half = replace(whole, markers={role: p for role, p in whole.markers.items() if not role.endswith("_left")})
    both = _by_side(compute_footfalls(whole, STUDY.processing, posture), whole, posture)
    one = _by_side(compute_footfalls(half, STUDY.processing, posture), half, posture)
    assert set(one) == {"right"}
    assert np.allclose(one["right"], both["right"])


def _by_side(footfalls: pd.DataFrame, trial, posture) -> dict[str, list[float]]:
    joints = compute_joints(trial, footfalls, posture, STUDY.processing, "female")
    joints = joints[(joints["joint"] == "knee") & (joints["plane"] == "sagittal")]
    return {side: rows["angle_peak_deg"].tolist() for side, rows in joints.groupby("side")}
