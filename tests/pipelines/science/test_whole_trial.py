"""What footfalls say together: symmetry against worked numbers, scatter against known scatter, load against its parts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.whole_trial import asymmetry, variability, whole_trial
from pipelines.science.workspace import Workspace
from schemas.outcomes import FOOTFALLS
from schemas.outcomes_of_trials import TOGETHER
from schemas.outcomes_signals import FOOTFALL_JOINTS
from schemas.processing import Processing
from tests.as_frames import rows_like
from tests.builders import a_posture, a_trial
from tests.tries import tries

BRAKING = {"braking_impulse_asymmetry_percent": "braking_impulse_bw_s"}


def trial_of(left: list[dict], right: list[dict], tendon: float | None = None):
    rows = [
        {"side": side} | one for pair in zip(left, right, strict=True) for side, one in zip("lr", pair, strict=True)
    ]
    sides = {"l": "left", "r": "right"}
    rows = [row | {"side": sides[row["side"]], "footfall_number": i, "trial_id": "T"} for i, row in enumerate(rows, 1)]
    joints = [
        {"trial_id": "T", "footfall_number": i, "joint": "ankle", "plane": plane, "achilles_impulse_bw_s": value}
        for i, _ in enumerate(rows, 1)
        for plane, value in (("sagittal", tendon), ("frontal", None))
    ]
    return whole_trial(rows_like(FOOTFALLS, rows), rows_like(FOOTFALL_JOINTS, joints))


def test_the_symmetry_index_is_the_published_one_without_its_sign() -> None:
    left, right = np.array([0.9, 1.1]), np.array([1.15, 1.25])
    # Robinson et al. 1987: (1.2 - 1.0) / (0.5 (1.2 + 1.0)) x 100 = 18.18
    assert asymmetry(left, right).value == asymmetry(right, left).value == pytest.approx(18.1818, abs=1e-4)
    assert asymmetry(-left, -right).value == pytest.approx(18.1818, abs=1e-4)  # braking impulses are negative
    assert asymmetry(left, 2 * left).value == pytest.approx(200 / 3)


def test_asymmetry_is_unknown_where_a_side_lacks_or_has_a_single_footfall() -> None:
    both = np.array([1.0, 1.1, 1.2])
    for left, right in ((both, both[:1]), (both[:0], both), (both[:1], both[:1])):
        found = asymmetry(left, right)
        assert np.isnan(found.value)
        assert found.count == 0


def test_the_scatter_of_asymmetries_is_the_stated_one() -> None:
    chance = np.random.default_rng(5)
    found = [asymmetry(chance.normal(1.0, 0.05, 20), chance.normal(1.2, 0.08, 15)) for _ in range(600)]
    assert np.std([one.value for one in found]) == pytest.approx(np.mean([one.off for one in found]), rel=0.1)


@given(st.floats(-3, 3), st.floats(0.01, 5), st.integers(0, 10**6))
@tries(20)
def test_variability_knows_nothing_of_the_difference_between_the_sides(apart: float, size: float, seed: int) -> None:
    chance = np.random.default_rng(seed)
    left, right = chance.normal(0, size, 12), chance.normal(0, size, 9)
    alike, unlike = variability(left, right), variability(left, right + apart)
    assert unlike.value == pytest.approx(alike.value, rel=1e-6)
    pooled = np.sqrt((11 * np.var(left, ddof=1) + 8 * np.var(right, ddof=1)) / 19)
    assert alike.value == pytest.approx(pooled, rel=1e-9)
    assert alike.off == pytest.approx(pooled / np.sqrt(38), rel=1e-9)


def test_few_footfalls_have_no_variability() -> None:
    assert np.isnan(variability(np.arange(5.0), np.arange(4.0)).value)
    assert variability(np.arange(5.0), np.arange(5.0)).value == pytest.approx(np.sqrt(2.5))
    assert variability(np.arange(9.0), np.arange(1.0)).count == 10


def test_a_kilometre_loads_as_often_as_feet_land_in_it() -> None:
    one = {"step_length_m": 1.25, "active_peak_bw": 2.5, "impact_peak_bw": 1.5}
    without = one | {"impact_peak_bw": None, "step_length_m": 1.2, "active_peak_bw": 2.3}
    found = trial_of([one] * 10, [without] * 10, tendon=0.9)
    per_km = 1000 / 1.225
    assert found["footfalls_per_km"].value == pytest.approx(per_km)
    assert found["impacts_per_km"].value == pytest.approx(per_km / 2)
    assert found["impact_peaks_bw_per_km"].value == pytest.approx(per_km / 2 * 1.5)
    assert found["active_peaks_bw_per_km"].value == pytest.approx(per_km * 2.4)
    assert found["achilles_impulse_bw_s_per_km"].value == pytest.approx(per_km * 0.9)
    soft = trial_of([without] * 3, [without] * 3)
    assert soft["impact_peaks_bw_per_km"].value == 0
    assert soft["impacts_per_km"].off > 0
    assert np.isnan(soft["achilles_impulse_bw_s_per_km"].value)
    assert np.isnan(trial_of([{"active_peak_bw": 2.0}] * 3, [{"active_peak_bw": 2.0}] * 3)["footfalls_per_km"].value)


def test_a_trial_has_every_column_and_says_how_sure_those_are_that_it_knows() -> None:
    work = Workspace(a_trial(footfalls=14), Processing(), a_posture())
    (row,) = work.trial_outcomes.records
    assert {field.name for field in TOGETHER} == work.whole_trial.keys() <= row.keys()
    # steps of 0.35 s at 3.0 m/s
    assert row["footfalls_per_km"] == pytest.approx(1000 / 1.05, rel=1e-3)
    assert row["contact_time_asymmetry_percent"] < 0.5
    sure = {one["outcome"]: one for one in work.outcome_uncertainties.records}
    load = sure["active_peaks_bw_per_km"]
    assert load["footfall_count"] == 13
    share = sure["active_peak_bw"]["from_scale_value"] / work.footfalls.numbers("active_peak_bw").mean()
    assert load["from_scale_value"] == pytest.approx(row["active_peaks_bw_per_km"] * share, rel=0.02)
    assert np.isfinite(load["from_scatter_value"])
    assert np.isnan(sure["active_peak_bw"]["from_scatter_value"])
