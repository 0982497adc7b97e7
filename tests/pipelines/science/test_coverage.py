"""Pooled intervals hold the truth as often as they say, in simulated studies that go the way of a real one.

``make coverage`` measures many more studies of many more kinds; here are as many as tell a right method from a wrong one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t as student

from benchmarks.coverage.curve import BAND, OF_THESE, OVER_SITES, Curved, measure_curved
from benchmarks.coverage.measure import IGNORING_SITES, measure
from benchmarks.coverage.studies import SIZES, SPREADS, UNEQUAL, Cell, people, values
from pipelines.science.statistics.mixed_model import NoFit
from pipelines.science.statistics.one_stage import one_stage_each
from schemas.trial import FloatArray

STUDIES = 240
# 0.95 less and more three standard errors of a share of 240
LEAST, MOST = 0.908, 0.992
CELLS = (
    Cell("few and alike", SIZES["3 x 5"], SPREADS["no"]),
    Cell("moderate", SIZES["5 x 12"], SPREADS["moderate"]),
    Cell("unequal", UNEQUAL, SPREADS["no"]),
    Cell("travelling", (2,) * 3, SPREADS["moderate"], travelling=4),
)


@pytest.mark.parametrize("cell", CELLS, ids=lambda cell: cell.name)
def test_the_mixed_model_holds_the_truth_as_often_as_it_says(cell: Cell) -> None:
    found = measure(cell, STUDIES)
    model = found["one_stage_mixed_model"]
    assert model.coverage >= LEAST
    assert (
        model.coverage <= MOST or cell.site_sd == 0
    )  # never narrower than Kenward & Roger's: too wide where sites agree
    assert model.type_1 <= 0.05 + 3 * (0.05 * 0.95 / (STUDIES / 2)) ** 0.5
    assert model.without_answer == 0
    assert abs(model.bias) < 0.15
    assert found["random_effects_restricted_likelihood"].coverage >= LEAST  # never shrunk, so it may hold it more often
    if cell.site_sd > 0:
        assert found[IGNORING_SITES].coverage < LEAST, "what ignores sites must not pass this gate"


@pytest.mark.parametrize("site_sd", [SPREADS["no"], SPREADS["small"]])
def test_where_sites_seem_alike_the_interval_holds_the_truth_as_often_and_one_by_their_spread_alone_does_not(
    site_sd: float,
) -> None:
    """Of the studies whose sites' means vary less than runners within sites have them vary; what a spread by luck small
    makes of the interval is the test's wrong method."""
    rng, at = np.random.default_rng(21), np.repeat(np.arange(5), 12)
    differences = rng.normal(0, 1, (900, 60)) + rng.normal(0, site_sd, (900, 5))[:, at]
    found = one_stage_each(differences, np.arange(60), at)
    assert not any(isinstance(own, NoFit) for own in found)
    means = differences.reshape(900, 5, 12).mean(axis=2)
    error = means.std(axis=1, ddof=1) / np.sqrt(5)
    within = differences.reshape(900, 5, 12).std(axis=2, ddof=1).mean(axis=1) / np.sqrt(60)
    lucky = error < 0.7 * within
    assert lucky.sum() > 40
    held = np.array([own.effect.lower <= 0 <= own.effect.upper for own in found if not isinstance(own, NoFit)])
    least = 0.93 if site_sd == 0 else 0.84  # where they differ, luck hides it; three standard errors below 0.95
    assert held[lucky].mean() > least
    by_spread = np.abs(means.mean(axis=1)) <= student.ppf(0.975, 4) * error
    assert by_spread[lucky].mean() < min(least, 0.9), "what takes a lucky spread for the error must not pass this gate"


def test_a_loss_that_goes_with_the_value_is_not_covered_and_the_gate_sees_it() -> None:
    lossy = measure(Cell("lossy", SIZES["5 x 12"], SPREADS["small"], null_below=0.0), STUDIES)
    assert abs(lossy["one_stage_mixed_model"].bias) > 0.02


def test_the_band_over_sites_holds_where_sites_differ_and_that_of_runners_only_for_these_sites() -> None:
    found = measure_curved(Curved("5 x 6", 5, 6, SPREADS["moderate"]), 60)
    least = 0.95 - 3 * (0.95 * 0.05 / 60) ** 0.5
    assert found[OVER_SITES].coverage >= least
    assert found[OF_THESE].coverage >= least
    assert found[BAND].coverage < least, "what takes sites for alike must not pass this gate"


@pytest.mark.parametrize("cell", [replace(cell, order_effect=0.5) for cell in CELLS], ids=lambda cell: cell.name)
def test_with_order_and_speed_allowed_for_the_interval_holds_the_truth_as_often_and_least_squares_do_not(
    cell: Cell,
) -> None:
    """20 designs, 60 studies of each: a share of 1200 is told to 0.019 (three standard errors)."""
    rng = np.random.default_rng(11)
    runners, sites = people(cell)
    held: list[bool] = []
    held_by_least_squares: list[bool] = []
    for _ in range(20):
        second = (rng.permutation(len(runners)) < 0.7 * len(runners)).astype(float)
        speed = rng.normal(0.1, 0.2, len(runners))
        reference, condition = values(cell, 60, (2.0 * speed)[None, :], second, rng)
        covariates = np.column_stack([2 * second - 1, speed])
        for found in one_stage_each(condition - reference, runners, sites, covariates):
            assert not isinstance(found, NoFit)
            held.append(found.effect.lower <= 0 <= found.effect.upper)
        held_by_least_squares += _least_squares(condition - reference, covariates)
    assert np.mean(held) > 0.95 - 0.019 - 0.01
    assert np.mean(held) < 0.95 + 0.019 + 0.01 or cell.site_sd == 0  # never narrower than Kenward & Roger's
    if cell.site_sd > 0:
        assert np.mean(held_by_least_squares) < 0.92, "what ignores sites must not pass this gate"


def _least_squares(differences: FloatArray, covariates: FloatArray) -> list[bool]:
    """Whether the 95 % interval of each of (B, n) holds zero, as if every difference were another runner's."""
    fixed = np.column_stack([np.ones(len(covariates)), covariates])
    found = differences @ np.linalg.pinv(fixed).T
    freedom = len(fixed) - fixed.shape[1]
    variance = ((differences - found @ fixed.T) ** 2).sum(axis=1) / freedom
    error = np.sqrt(variance * np.linalg.inv(fixed.T @ fixed)[0, 0])
    return (np.abs(found[:, 0]) <= student.ppf(0.975, freedom) * error).tolist()  # type: ignore[no-any-return]
