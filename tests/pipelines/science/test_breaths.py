"""Breaths as they come: which count, how far their mean scatters and drifts; by known scatter and by real recordings.

The real breaths (cycling, from the open package whippr, MIT licence) lie beside the repository; body mass and speed are
invented.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.energy.breaths import drift, mean_uncertainty, usable
from tests.pipelines.science.test_energy import POWERS, energy
from tests.tries import tries

REAL = Path(__file__).resolve().parents[4] / "shared" / "real_breaths"
needs_real_breaths = pytest.mark.skipif(not REAL.is_dir(), reason="the real breaths are not on this machine")
GASES = ["oxygen_uptake_ml_per_min", "carbon_dioxide_output_ml_per_min"]


def breathed(count: int = 110, seed: int = 3) -> np.ndarray:
    """(n, 2) mL/min: a steady plateau with the scatter of real breaths, 5 %, in both gases alike."""
    chance = np.random.default_rng(seed)
    deep = 1 + 0.05 * chance.normal(size=count)
    return np.stack([3000 * deep, 2760 * deep * (1 + 0.02 * chance.normal(size=count))], axis=1)


def as_bout(gases: np.ndarray, every_s: float = 3.3) -> pd.DataFrame:
    frame = pd.DataFrame(gases, columns=GASES).assign(session_id="S1", condition="unshod", bout=1)
    return frame.assign(elapsed_s=every_s * np.arange(1, len(gases) + 1))


@given(st.integers(0, 10**6))
@tries(20)
def test_hardly_a_breath_of_a_normal_scatter_is_left_out(seed: int) -> None:
    assert (~usable(breathed(seed=seed), 10, 4.0)).sum() <= 2


@pytest.mark.parametrize(
    "wrong", [(0.0, 0.0), (0.0, 2760.0), (-40.0, 2760.0), (3000.0, 5200.0), (float("nan"), 2760.0)]
)
def test_a_breath_that_is_none_is_left_out_alone(wrong: tuple[float, float]) -> None:
    gases = breathed()
    gases[60] = wrong
    assert np.flatnonzero(~usable(gases, 10, 4.0)).tolist() == [60]


def test_one_cough_does_not_hide_another() -> None:
    gases = breathed()
    gases[[60, 62, 65]] = [[900.0, 800.0], [5600.0, 5100.0], [1100.0, 1000.0]]
    assert np.flatnonzero(~usable(gases, 10, 4.0)).tolist() == [60, 62, 65]


def test_the_rise_at_the_start_of_a_bout_is_no_outlier() -> None:
    seconds = 3.3 * np.arange(110)
    rising = breathed() * (1 - 0.65 * np.exp(-seconds / 35))[:, None]
    assert usable(rising, 10, 4.0).all()


def test_one_zero_among_the_breaths_of_a_plateau_costs_one_breath_and_many_cost_the_bout() -> None:
    gases = breathed()
    plain = energy(as_bout(gases))
    gases[100] = 0
    one = energy(as_bout(gases))
    assert plain["samples_left_out_fraction"] == 0
    assert one["samples_left_out_fraction"] == pytest.approx(1 / 37, abs=0.001)
    assert one["metabolic_power_w_per_kg"] == pytest.approx(plain["metabolic_power_w_per_kg"], rel=0.01)
    gases[[80, 90]] = 0
    several = energy(as_bout(gases))
    assert several[POWERS].isna().all()
    assert "8 % of the plateau's samples count as no breaths, limit 5 %" in several["reason_null"]
    assert energy(as_bout(gases), largest_left_out_fraction=0.1)[POWERS].notna().all()


@pytest.mark.parametrize("alike", [0.0, 0.6])
def test_means_and_slopes_scatter_by_as_much_as_is_stated(alike: float) -> None:
    """Over 400 plateaus of 40 breaths whose neighbours are alike or not; what is true lies within 2 of them as it must."""
    chance = np.random.default_rng(8)
    times = 3.0 * np.arange(40)
    weights = chance.uniform(1.5, 4.5, 40)
    means, slopes = [], []
    for _ in range(400):
        noise = chance.normal(size=60)
        for i in range(1, 60):
            noise[i] += alike * noise[i - 1]
        values = 100 + 0.02 * times + noise[20:]
        centre = (weights @ times) / weights.sum()
        mean = (weights @ values) / weights.sum()
        slope, off = drift(times, values, weights)
        means.append(abs(mean - 100 - 0.02 * centre) / mean_uncertainty(values, weights))
        slopes.append(abs(slope - 0.02) / off)
    for ratios in (means, slopes):
        assert 0.86 < np.mean(np.array(ratios) < 2) < 0.995


def test_a_steady_drift_is_found_and_flat_scatter_is_not_called_one() -> None:
    minutes = 3.3 * np.arange(1, 111) / 60
    row = energy(as_bout(breathed() * (1 + 0.02 * (minutes - minutes[-1]))[:, None]))
    off = row["oxygen_drift_uncertainty_percent_per_min"]
    assert 0.5 < off < 2.5
    assert row["oxygen_drift_percent_per_min"] == pytest.approx(2.0, abs=3 * off)
    assert 0 < row["metabolic_power_uncertainty_w_per_kg"] < 0.02 * row["metabolic_power_w_per_kg"]


def test_breaths_all_alike_have_no_scatter_and_two_have_no_slope() -> None:
    assert mean_uncertainty(np.full(5, 3.0), np.ones(5)) == 0
    assert np.isnan(mean_uncertainty(np.array([3.0]), np.ones(1)))
    assert np.isnan(drift(np.arange(2.0), np.arange(2.0), np.ones(2))).all()
    assert drift(np.arange(5.0), 3 + 2 * np.arange(5.0), np.ones(5)) == pytest.approx((2.0, 0.0), abs=1e-9)


def real(name: str, from_s: float, to_s: float, scale: float = 1.0) -> pd.DataFrame:
    with (REAL / name).open(encoding="utf-8") as file:
        rows = [[float(row[i]) for i in (0, 1, 2)] for row in list(csv.reader(file))[1:]]
    inside = np.array([row for row in rows if from_s < row[0] <= to_s])
    return as_bout(scale * inside[:, 1:]).assign(elapsed_s=inside[:, 0] - from_s)


@needs_real_breaths
@pytest.mark.parametrize(("start_s", "mean"), [(360, 3042), (1080, 3080), (1800, 3109)])
def test_real_bouts_are_steady_lose_one_breath_at_most_and_know_their_scatter(start_s: float, mean: float) -> None:
    row = energy(real("square_bouts.csv", start_s, start_s + 360))
    assert row["samples_left_out_fraction"] < 0.025
    assert row["oxygen_uptake_ml_per_min"] == pytest.approx(mean, abs=2)
    assert row["plateau_change_percent"] < 2.5
    # 130 to 177 mL/min over some 50 breaths
    assert 0.005 < row["metabolic_power_uncertainty_w_per_kg"] / row["metabolic_power_w_per_kg"] < 0.012
    assert abs(row["oxygen_drift_percent_per_min"]) < 2.5 * row["oxygen_drift_uncertainty_percent_per_min"]


@needs_real_breaths
def test_a_real_breath_of_exactly_zero_no_longer_empties_its_bout_and_a_ramp_stays_empty() -> None:
    swallowed = real("steps_l_per_min.csv", 321.1, 681.1, 1000.0)
    assert (swallowed[GASES] == 0).any(axis=None)
    row = energy(swallowed)
    assert row[POWERS].notna().all()
    assert 0 < row["samples_left_out_fraction"] < 0.05
    ramp = energy(real("ramp.csv", 200, 800))
    assert ramp[POWERS].isna().all()
    # it rises, and eight times its uncertainty says so
    assert ramp["oxygen_drift_percent_per_min"] > 5 * ramp["oxygen_drift_uncertainty_percent_per_min"]
