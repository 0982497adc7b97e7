"""The slope of a response over a dose, one pair of numbers per runner: known slopes come back, as surely as is said."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.coverage.dose import Dosed, cells, measure_dosed, weeks_as_runners
from pipelines.science.statistics.dose_response import FEWEST_RUNNERS, Slope, slope


def some(runners: int = 18, sites: int = 3, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    at = np.arange(runners) % sites
    doses = rng.lognormal(0, 0.5, runners) + at
    return doses, 2 * doses + 5 * at + rng.normal(0, 1, runners) * doses, at


def test_it_is_the_hc3_of_statsmodels_with_a_level_for_each_site() -> None:
    doses, responses, sites = some()
    found = slope(doses, responses, sites)
    assert isinstance(found, Slope)
    design = np.column_stack([doses, *(sites == site for site in range(3))]).astype(float)
    other = sm.OLS(responses, design).fit(cov_type="HC3", use_t=True)
    assert found.effect.estimate == pytest.approx(other.params[0], rel=1e-10)
    assert found.effect.standard_error == pytest.approx(other.bse[0], rel=1e-10)
    assert (found.effect.lower, found.effect.upper) == pytest.approx(tuple(other.conf_int()[0]), rel=1e-8)
    assert (found.freedom, found.p_value) == (other.df_resid, pytest.approx(other.pvalues[0], rel=1e-8))


def test_what_sites_differ_by_makes_no_slope() -> None:
    doses, responses, sites = some()
    shifted = slope(doses + 10 * sites, responses - 30 * sites, sites)
    plain = slope(doses, responses, sites)
    assert isinstance(shifted, Slope)
    assert isinstance(plain, Slope)
    assert shifted.effect.estimate == pytest.approx(plain.effect.estimate, rel=1e-9)
    assert shifted.effect.standard_error == pytest.approx(plain.effect.standard_error, rel=1e-9)


def test_a_runner_alone_at_a_site_tells_nothing_and_is_told() -> None:
    doses, responses, sites = some()
    more = slope(np.append(doses, 9.0), np.append(responses, -99.0), np.append(sites, 7))
    plain = slope(doses, responses, sites)
    assert isinstance(more, Slope)
    assert isinstance(plain, Slope)
    assert (more.effect, more.runners, more.sites, more.alone) == (plain.effect, 18, 3, 1)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda x, y, s: (x[:9], y[:9], s[:9]), f"9 of at least {FEWEST_RUNNERS} runners"),
        (lambda x, y, s: (s.astype(float), y, s), "the doses do not vary within sites"),
        (lambda x, y, s: (x, 0 * y, s), "the responses do not vary within sites"),
        (lambda x, y, s: (x, 3 * x, s), "the responses lie on a line"),
        (lambda x, y, s: (np.eye(18)[0], y, np.zeros(18)), "the slope rests on one runner"),
    ],
)
def test_where_there_is_no_answer_the_reason_is_said(change, said: str) -> None:
    found = slope(*change(*some()))
    assert isinstance(found, str)
    assert found.startswith(said)


@given(st.integers(0, 1000), st.sampled_from([1e-3, 7.0]), st.sampled_from([-1.0, 60.0]))
def test_units_change_only_units(seed: int, of_response: float, of_dose: float) -> None:
    doses, responses, sites = some(seed=seed)
    plain, other = slope(doses, responses, sites), slope(of_dose * doses, of_response * responses, sites)
    assert isinstance(plain, Slope)
    assert isinstance(other, Slope)
    assert other.effect.estimate == pytest.approx(plain.effect.estimate * of_response / of_dose, rel=1e-9)
    assert other.p_value == pytest.approx(plain.p_value, rel=1e-6)


@pytest.mark.parametrize("cell", list(cells())[:3], ids=lambda cell: cell.name)
def test_the_interval_holds_the_true_slope_and_weeks_counted_as_runners_do_not(cell: Dosed) -> None:
    """1000 studies tell a share to 0.021 (three standard errors)."""
    found = measure_dosed(cell, 1000)
    assert 0.90 <= found["slope"].coverage <= 0.99
    assert abs(found["slope"].bias) < 0.1 * cell.effect
    assert found[weeks_as_runners.__name__].coverage < 0.85
