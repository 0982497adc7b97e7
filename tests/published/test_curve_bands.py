"""Bands of difference curves against the nonparametric tests of spm1d, on published sets that it ships."""

from __future__ import annotations

import time

import numpy as np
import pytest
import spm1d
from hypothesis import given
from hypothesis import strategies as st

from pipelines.science.statistics.curve_bands import FEWEST_RUNNERS, band
from pipelines.science.statistics.curve_sites import across_sites, chance_of
from tests.tries import tries


def arch_angle() -> np.ndarray:
    """Plantar arch angle of 10 walkers, two conditions: Caravaggi et al. 2010, J Anat 217:254, says the package."""
    both = spm1d.data.uv1d.tpaired.PlantarArchAngle()
    return np.asarray(both.YA - both.YB)


def forces(level: int, other: int) -> np.ndarray:
    """Ground reaction force of 10 walkers at two of three speeds: Pataky et al. 2008, J Biomech 41:1987, it says."""
    found = spm1d.data.uv1d.anova1rm.SpeedGRFcategoricalRM()
    who = np.argsort(found.SUBJ[level == found.A]), np.argsort(found.SUBJ[other == found.A])
    return np.asarray(found.Y[level == found.A][who[0]] - found.Y[other == found.A][who[1]])


def smooth(seed: int, runners: int) -> np.ndarray:
    """Curves without a true difference, as smooth as angles are."""
    noise = np.random.default_rng(seed).normal(size=(runners, 141))
    return np.array([np.convolve(own, np.hanning(41), "valid") for own in noise])


@pytest.mark.parametrize(
    "curves", [arch_angle(), forces(1, 0), forces(2, 0)], ids=["arch angle", "force, speeds 1 and 0", "speeds 2 and 0"]
)
def test_t_and_its_threshold_over_the_curve_are_those_of_spm1d_over_all_patterns_of_signs(curves: np.ndarray) -> None:
    found = band(curves)
    test = spm1d.stats.nonparam.ttest(curves, 0)
    theirs = test.inference(0.05, two_tailed=True, iterations=-1)
    assert (found.exact, found.patterns) == (True, 2 ** len(curves))
    assert found.t == pytest.approx(test.z, rel=1e-9)
    # the package takes 2.5 % of the highest t, here are 5 % of the highest |t|: the same but for steps between patterns
    assert found.threshold == pytest.approx(theirs.zstar, rel=0.02)
    beyond = [(float(c.endpoints[0]), float(c.endpoints[1])) for c in theirs.clusters]
    assert len(found.spans) == len(beyond)
    for (start, end), (first, last) in zip(found.spans, beyond, strict=True):
        assert abs(start - first) <= 2
        assert abs(end - last) <= 2


@pytest.mark.parametrize(
    "curves",
    [arch_angle(), forces(1, 0), spm1d.data.uv1d.t1.SimulatedPataky2015a().Y, spm1d.data.uv1d.t1.Random().Y],
    ids=["arch angle", "force", "simulated by Pataky 2015", "rough"],
)
def test_with_a_curve_at_each_site_the_band_over_sites_has_the_threshold_of_spm1d(curves: np.ndarray) -> None:
    found = across_sites(curves, np.arange(len(curves)))
    test = spm1d.stats.ttest(np.asarray(curves, float), 0)
    theirs = test.inference(0.05, two_tailed=True)
    assert found.t == pytest.approx(test.z, rel=1e-9)
    # the package takes one mean roughness, here it adds up over the curve, which is less where it is uneven
    assert found.threshold == pytest.approx(theirs.zstar, rel=0.06)
    assert (found.p_value < 0.05) == (np.abs(test.z).max() > found.threshold)
    again = chance_of(theirs.zstar, len(curves) - 1, float(np.sqrt(4 * np.log(2)) * test.resels[1]))
    assert again == pytest.approx(0.05, abs=0.002), "by its own roughness it is the same threshold"


def test_below_four_sites_there_is_no_band_over_them() -> None:
    with pytest.raises(ValueError, match="at least 4 sites"):
        across_sites(smooth(1, 9), np.repeat(np.arange(3), 3))


def test_by_hand_one_point_has_the_paired_t_and_the_share_of_patterns_that_reach_it() -> None:
    differences = np.array([[1.0], [2.0], [3.0], [4.0], [5.0], [6.0]])
    found = band(differences)
    assert found.t[0] == pytest.approx(3.5 / np.sqrt(3.5 / 6))
    assert found.p_value == 2 / 64, "all of one sign, either one"


def test_without_a_difference_five_percent_of_studies_find_one() -> None:
    found = sum(bool(band(smooth(seed, 8)).spans) for seed in range(400))
    assert found / 400 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 400)
    assert found / 400 >= 0.01, "a band that never finds anything would be no band"


def test_the_band_holds_the_whole_true_curve_as_often_as_it_says() -> None:
    true = np.sin(np.linspace(0, 3, 101)) * 5
    held = 0
    for seed in range(300):
        found = band(true + smooth(seed, 9))
        held += bool((found.lower <= true).all() and (true <= found.upper).all())
    assert held / 300 >= 0.95 - 3 * np.sqrt(0.05 * 0.95 / 300)


def test_ten_thousand_patterns_of_sixty_runners_take_seconds_and_come_out_the_same_each_time() -> None:
    curves = smooth(1, 60)
    start = time.process_time()
    found = band(curves)
    assert time.process_time() - start < 10
    assert (found.patterns, found.exact) == (10_000, False)
    assert found.threshold == band(curves).threshold
    assert found.threshold == pytest.approx(
        spm1d.stats.ttest(curves, 0).inference(0.05, two_tailed=True).zstar, rel=0.05
    )


def test_few_runners_are_refused_and_points_that_do_not_vary_differ_nowhere() -> None:
    with pytest.raises(ValueError, match="at least 6 runners"):
        band(smooth(1, FEWEST_RUNNERS - 1))
    still = smooth(1, 8)
    still[:, :10] = 0.0
    assert np.isnan(band(still).t[:10]).all()


@tries(15)
@given(st.integers(0, 1000), st.sampled_from([1e-6, -1.0, 1e5]))
def test_unit_and_sign_change_only_unit_and_sign(seed: int, factor: float) -> None:
    curves = smooth(seed, 7) + 1.0
    plain, other = band(curves), band(curves * factor)
    assert other.threshold == pytest.approx(plain.threshold)
    assert other.p_value == plain.p_value
    assert other.mean == pytest.approx(plain.mean * factor)
