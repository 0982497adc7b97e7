"""The mixed model against published fits of well-known data with nested and crossed random effects.

Fits: Bates, Maechler, Bolker & Walker 2015, J Stat Softw 67(1), and the documentation of their R package lme4; Pinheiro &
Bates 2000, Mixed-Effects Models in S and S-PLUS, chapter 1 (from memory); the package Metida's tests, which repeat other
programs (PharmCat/Metida.jl, test/lme.jl). Kenward & Roger's standard errors and degrees of freedom: the vignette
"Sophisticated models" of the R package emmeans 2.0.1, which takes them from pbkrtest (Halekoh & Hojsgaard 2014).
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from pipelines.science.statistics.contrasts import runner_contrasts, site_contrasts
from pipelines.science.statistics.mixed_model import Design, Fits, fit_components
from pipelines.science.statistics.pooled import pooled_contrasts
from schemas.processing import Processing
from tests.pipelines.science.measured import measured
from tests.published.test_meta_analysis import FIRST, SECOND

HERE = Path(__file__).resolve().parent / "values"
# Davies & Goldsmith 1972: yield of dyestuff in grams, five preparations of each of six batches
DYESTUFF = [1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510, 1560, 1445, 1440, 1595, 1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445]  # fmt: skip
# Box & Tiao 1973, Bayesian Inference in Statistical Analysis, 5.1: made up so that batches differ less than chance
DYESTUFF_2 = [7.298, 3.846, 2.434, 9.566, 7.99, 5.22, 6.556, 0.608, 11.788, -0.892, 0.11, 10.386, 13.434, 5.51, 8.166, 2.212, 4.852, 7.092, 9.288, 4.98, 0.282, 9.014, 4.458, 9.446, 7.198, 1.722, 4.782, 8.106, 0.758, 3.758]  # fmt: skip
BATCHES = np.repeat(list("ABCDEF"), 5)
# Pinheiro & Bates 2000, table A.17: travel times of ultrasonic waves in six rails, three readings each (from memory)
RAIL = [55, 53, 54, 26, 37, 32, 78, 91, 85, 92, 100, 96, 49, 51, 50, 80, 85, 83]


def rows(path: Path) -> list[dict[str, str]]:
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def alike(labels: Any) -> NDArray[Any]:
    """Z Z' of a random effect: one wherever two values share a label."""
    listed = np.asarray(labels)
    return np.asarray((listed[:, None] == listed[None, :]).astype(float))


def fitted(values: Any, *groups: Any, fixed: NDArray[Any] | None = None, lowest: Any = None) -> Fits:
    given = np.asarray(values, float)
    ones = np.ones((len(given), 1))
    parts = [*(alike(labels) for labels in groups), np.eye(len(given))]
    fits = fit_components(given, Design.of(ones if fixed is None else fixed, np.array(parts), lowest))
    assert fits.converged.all()
    return fits


def test_batches_of_dyestuff_are_the_published_fit() -> None:
    fits = fitted(DYESTUFF, BATCHES)
    assert fits.estimates[0] == pytest.approx([1527.5])
    assert fits.errors[0] == pytest.approx([19.3834], abs=1e-4)
    assert fits.theta[0] == pytest.approx([1764.05, 2451.25], abs=0.01)
    assert fits.minus_two_log_likelihood[0] == pytest.approx(319.65427684, abs=1e-6)
    assert fits.freedom[0] == pytest.approx([5.0], abs=1e-4)


def test_batches_that_differ_less_than_chance_have_no_variance_or_the_negative_one_of_their_mean_squares() -> None:
    held = fitted(DYESTUFF_2, BATCHES)
    assert held.at_edge[0]
    assert held.theta[0] == pytest.approx([0.0, 13.81], abs=0.005)
    assert held.minus_two_log_likelihood[0] == pytest.approx(161.8283, abs=1e-4)
    # Box & Tiao: mean squares 8.3363 between and 14.9459 within, hence (8.3363 - 14.9459) / 5
    free = fitted(DYESTUFF_2, BATCHES, lowest=[-np.inf, 0.0])
    assert free.theta[0] == pytest.approx([-1.3219, 14.9459], abs=1e-3)
    assert free.errors[0] == pytest.approx([np.sqrt(8.3363 / 30)], abs=1e-4)
    assert free.freedom[0] == pytest.approx([5.0], abs=1e-4)


def test_rails_are_the_published_fit() -> None:
    fits = fitted(RAIL, np.repeat(range(6), 3))
    assert (fits.estimates[0, 0], fits.errors[0, 0]) == pytest.approx((66.5, 10.17104), abs=1e-4)
    assert np.sqrt(fits.theta[0]) == pytest.approx([24.80547, 4.020779], abs=1e-4)
    assert fits.minus_two_log_likelihood[0] / -2 == pytest.approx(-61.0885, abs=1e-4)


def test_plates_crossed_with_samples_are_the_published_fit() -> None:
    data = rows(HERE / "penicillin.csv")
    fits = fitted(*([row[name] for row in data] for name in ("diameter", "plate", "sample")))
    assert (fits.estimates[0, 0], fits.errors[0, 0]) == pytest.approx((22.9722, 0.808573), abs=1e-4)
    assert fits.theta[0] == pytest.approx([0.716908, 3.73092, 0.302415], abs=1e-4)
    assert fits.minus_two_log_likelihood[0] == pytest.approx(330.8606, abs=1e-4)


def test_casks_nested_in_batches_are_the_published_fit() -> None:
    data = rows(HERE / "pastes.csv")
    casks = [row["batch"] + row["cask"] for row in data]
    fits = fitted([row["strength"] for row in data], casks, [row["batch"] for row in data])
    assert (fits.estimates[0, 0], fits.errors[0, 0]) == pytest.approx((60.0533, 0.6769), abs=1e-4)
    assert np.sqrt(fits.theta[0]) == pytest.approx([2.9041, 1.2874, 0.8234], abs=2e-4)
    assert fits.minus_two_log_likelihood[0] == pytest.approx(246.9907, abs=1e-4)
    assert fits.freedom[0] == pytest.approx([9.0], abs=1e-3)


# emmeans: estimate, standard error, degrees of freedom, from an experiment of which nine plots are left out
NITROGEN = {"0": (78.9, 7.29, 7.78), "0.2": (97.0, 7.14, 7.19), "0.4": (114.2, 7.14, 7.19), "0.6": (124.1, 7.07, 6.95)}
VARIETIES = {"Marvellous": (3.23, 6.55, 9.56), "Victory": (-8.31, 6.71, 9.80)}  # less Golden Rain


@pytest.fixture(scope="module")
def unbalanced() -> list[dict[str, str]]:
    left_out = {1, 2, 3, 5, 8, 13, 21, 34, 55}
    return [row for number, row in enumerate(rows(HERE / "oats.csv"), start=1) if number not in left_out]


def oats(data: list[dict[str, str]], fixed: list[NDArray[Any]]) -> Fits:
    blocks = [row["block"] for row in data]
    plots = [row["block"] + row["variety"] for row in data]
    return fitted([row["yield"] for row in data], blocks, plots, fixed=np.column_stack(fixed))


def test_an_unbalanced_experiment_has_kenward_and_rogers_published_errors_and_degrees_of_freedom(
    unbalanced: list[dict[str, str]],
) -> None:
    of = {name: np.array([row["variety"] == name for row in unbalanced], float) for name in VARIETIES}
    golden = 1 - sum(of.values())
    levels = [np.array([row["nitrogen"] == level for row in unbalanced], float) for level in NITROGEN]
    # varieties as deviations from their plain mean, so that a level's coefficient is its mean over the varieties
    found = oats(unbalanced, [*levels, *(column - golden for column in of.values())])
    for place, (mean, error, freedom) in enumerate(NITROGEN.values()):
        assert found.estimates[0, place] == pytest.approx(mean, abs=0.051)
        assert found.errors[0, place] == pytest.approx(error, abs=0.0051)
        assert found.freedom[0, place] == pytest.approx(freedom, abs=0.0051)
    less = oats(unbalanced, [*levels, *of.values()])
    for place, (difference, error, freedom) in enumerate(VARIETIES.values(), start=4):
        assert less.estimates[0, place] == pytest.approx(difference, abs=0.0051)
        assert less.errors[0, place] == pytest.approx(error, abs=0.0051)
        assert less.freedom[0, place] == pytest.approx(freedom, abs=0.0051)


def test_a_trend_over_unbalanced_plots_has_the_published_error_and_degrees_of_freedom(
    unbalanced: list[dict[str, str]],
) -> None:
    # the linear contrast -3, -1, 1, 3 as a coefficient, the other two orthogonal to it
    contrasts = {"linear": [-3, -1, 1, 3], "quadratic": [1, -1, -1, 1], "cubic": [-1, 3, -3, 1]}
    places = [list(NITROGEN).index(row["nitrogen"]) for row in unbalanced]
    columns = [np.array([c[p] for p in places], float) / np.dot(c, c) for c in contrasts.values()]
    of = [np.array([row["variety"] == name for row in unbalanced], float) for name in VARIETIES]
    found = oats(unbalanced, [np.ones(len(unbalanced)), *columns, *of])
    assert found.estimates[0, 1:4] == pytest.approx([152.69, -8.27, -6.32], abs=0.0051)
    assert found.errors[0, 1:4] == pytest.approx([15.60, 6.95, 15.20], abs=0.051)
    assert found.freedom[0, 1:4] == pytest.approx([43.2, 44.2, 42.8], abs=0.06)  # printed to 0.1; ours 42.749


@pytest.fixture(scope="module")
def sleep() -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    data = rows(HERE / "sleepstudy.csv")
    assert len(data) == 180
    days = np.array([float(row["Days"]) for row in data])
    return np.array([float(row["Reaction_ms"]) for row in data]), days, alike([row["Subject"] for row in data])


@pytest.mark.parametrize("factor", [1.0, 1e-3, 1e3])
def test_slopes_that_go_with_intercepts_are_the_published_fit_in_any_unit(sleep: Any, factor: float) -> None:
    values, days, same = sleep
    one = np.ones_like(days)
    both = np.outer(one, days) + np.outer(days, one)
    parts = np.array([same, same * np.outer(days, days), same * both, np.eye(180)])
    fits = fit_components(factor * values, Design.of(np.column_stack([one, days]), parts, np.array([0, 0, -np.inf, 0])))
    assert fits.converged.all()
    assert fits.estimates[0] / factor == pytest.approx([251.4051, 10.4673], abs=1e-4)
    assert fits.errors[0] / factor == pytest.approx([6.8246, 1.5458], abs=1e-3)
    intercept, slope, together, rest = fits.theta[0] / factor**2
    assert (intercept, slope, rest) == pytest.approx((612.09, 35.07, 654.94), abs=0.1)
    assert together / np.sqrt(intercept * slope) == pytest.approx(0.066, abs=1e-3)
    assert fits.freedom[0] == pytest.approx([17.0, 17.0], abs=1e-3)
    if factor == 1:
        assert fits.minus_two_log_likelihood[0] == pytest.approx(1743.63, abs=0.01)


def test_intercepts_only_are_the_published_fit(sleep: Any) -> None:
    values, days, same = sleep
    design = Design.of(np.column_stack([np.ones_like(days), days]), np.array([same, np.eye(180)]))
    fits = fit_components(values, design)
    assert fits.errors[0] == pytest.approx([9.7467, 0.8042], abs=1e-3)
    assert fits.minus_two_log_likelihood[0] == pytest.approx(1786.4651, abs=1e-3)
    assert fits.theta[0] == pytest.approx([1378.2, 960.45], abs=0.1)


def test_with_one_site_the_mixed_model_is_students_paired_t() -> None:
    # Student 1908, Biometrika 6:1: mean -1.58 h, t -4.0621 on 9 degrees of freedom, interval -2.4599 to -0.7001
    given = [(f"R{i}", "brack", "cushioned", b) for i, b in enumerate(SECOND)]
    given += [(f"R{i}", "brack", "unshod", a) for i, a in enumerate(FIRST)]
    runners = runner_contrasts(measured(given), Processing())
    pooled = pooled_contrasts(runners, site_contrasts(runners, Processing()), Processing())
    row = pooled[pooled["pooling_method"] == "one_stage_mixed_model"].iloc[0]
    assert row["estimate_value"] == pytest.approx(-1.58, abs=1e-6)
    assert row["estimate_value"] / row["standard_error_value"] == pytest.approx(-4.0621, rel=1e-4)
    assert (row["lower_limit_value"], row["upper_limit_value"]) == pytest.approx((-2.4599, -0.7001), abs=1e-3)
    assert (row["degrees_of_freedom"], row["two_sided_p_value"]) == pytest.approx((9, 0.002833), abs=1e-5)
    assert row["fitted_components"] == "one_site"
