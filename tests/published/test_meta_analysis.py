"""Pooling over sites against the best-known worked meta-analysis: 13 trials of BCG vaccine.

Counts: Colditz et al. 1994, JAMA 271:698. Common effect and DerSimonian-Laird as published with a widely used
package's tests (DerSimonian & Laird 1986, Control Clin Trials 7:177); Hartung-Knapp, restricted likelihood and
prediction interval computed elsewhere from the formulas and cross-checked here by a second route.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from statsmodels.stats.meta_analysis import combine_effects

from pipelines.science.statistics.pooling import (
    cochran_q,
    common_effect,
    mean_effect,
    random_effects,
    restricted_log_likelihood,
)

# diseased and not, vaccinated; diseased and not, control
TRIALS = [
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
    (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
    (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
]  # fmt: skip
LOG_RATIOS = [math.log((a / (a + b)) / (c / (c + d))) for a, b, c, d in TRIALS]
VARIANCES = [1 / a - 1 / (a + b) + 1 / c - 1 / (c + d) for a, b, c, d in TRIALS]


def test_the_common_effect_and_q_are_the_published_ones() -> None:
    effect = common_effect(LOG_RATIOS, VARIANCES)
    assert (effect.estimate, effect.standard_error) == pytest.approx((-0.4303, 0.0405), abs=1e-4)
    assert (effect.lower, effect.upper) == pytest.approx((-0.5097, -0.3509), abs=1e-4)
    assert cochran_q(LOG_RATIOS, VARIANCES) == pytest.approx(152.2330, abs=1e-4)


def test_dersimonian_laird_is_the_published_one() -> None:
    found = random_effects(LOG_RATIOS, VARIANCES, "dersimonian_laird", "normal")
    assert found.tau2 == pytest.approx(0.3088, abs=1e-4)
    assert found.i2_percent == pytest.approx(92.12, abs=0.01)
    assert found.i2_percent == pytest.approx(100 * (found.q - 12) / found.q)
    assert found.q / 12 == pytest.approx(12.686, abs=1e-3)  # H squared
    effect = found.effect
    assert (effect.estimate, effect.standard_error) == pytest.approx((-0.7141, 0.1787), abs=1e-4)
    assert (effect.lower, effect.upper) == pytest.approx((-1.0644, -0.3638), abs=1e-4)
    assert [math.exp(x) for x in (effect.estimate, effect.lower, effect.upper)] == pytest.approx(
        [0.4896, 0.3449, 0.6950], abs=1e-4
    )


def test_hartung_and_knapps_interval_is_wider_than_the_normal_one() -> None:
    effect = random_effects(LOG_RATIOS, VARIANCES, "dersimonian_laird", "hartung_knapp").effect
    assert effect.standard_error == pytest.approx(0.18070, abs=1e-5)
    assert effect.estimate / effect.standard_error == pytest.approx(-3.9520, abs=1e-4)
    assert (effect.lower, effect.upper) == pytest.approx((-1.1078, -0.3204), abs=1e-4)


def test_restricted_likelihood_is_the_published_one() -> None:
    found = random_effects(LOG_RATIOS, VARIANCES, "restricted_likelihood", "normal")
    assert found.tau2 == pytest.approx(0.3132, abs=1e-4)
    assert found.i2_percent == pytest.approx(92.22, abs=0.01)
    assert (found.effect.estimate, found.effect.standard_error) == pytest.approx((-0.7145, 0.1798), abs=1e-4)
    knapp = random_effects(LOG_RATIOS, VARIANCES, "restricted_likelihood", "hartung_knapp").effect
    assert knapp.standard_error == pytest.approx(0.1808, abs=1e-4)
    assert (knapp.lower, knapp.upper) == pytest.approx((-1.1084, -0.3206), abs=1e-4)


def test_the_prediction_interval_is_the_computed_one() -> None:
    found = random_effects(LOG_RATIOS, VARIANCES, "dersimonian_laird", "normal")
    assert found.prediction == pytest.approx((-1.9988, 0.5706), abs=1e-3)


def test_statsmodels_agrees_where_it_has_the_method() -> None:
    other = combine_effects(np.array(LOG_RATIOS), np.array(VARIANCES), method_re="chi2", use_t=True)
    found = random_effects(LOG_RATIOS, VARIANCES, "dersimonian_laird", "hartung_knapp")
    assert found.tau2 == pytest.approx(other.tau2, rel=1e-9)
    assert found.q == pytest.approx(other.q, rel=1e-9)
    assert found.effect.standard_error == pytest.approx(other.sd_eff_w_re_hksj, rel=1e-9)


def test_restricted_likelihood_is_where_its_estimating_equation_is_zero() -> None:
    # second route: the root of sum w^2 ((y - mu)^2 - v) + tr... = 0, that is y'PPy = trace(P)
    y, v = np.array(LOG_RATIOS), np.array(VARIANCES)

    def slope(tau2: float) -> float:
        w = np.diag(1 / (v + tau2))
        ones = np.ones((len(y), 1))
        p = w - w @ ones @ ones.T @ w / w.sum()
        return float(y @ p @ p @ y - np.trace(p))

    root = brentq(slope, 1e-6, 10)
    found = random_effects(LOG_RATIOS, VARIANCES, "restricted_likelihood")
    assert found.tau2 == pytest.approx(root, rel=1e-5)
    best = restricted_log_likelihood(found.tau2, y, v)
    assert all(restricted_log_likelihood(found.tau2 * k, y, v) < best for k in (0.5, 0.9, 1.1, 2))


# extra hours of sleep with two preparations, ten people: Student 1908, Biometrika 6:1 (data from memory as widely
# reprinted; the answers are those printed beside them, reproduced)
FIRST = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SECOND = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_the_mean_difference_of_students_ten_sleepers_is_his() -> None:
    effect = mean_effect([a - b for a, b in zip(FIRST, SECOND, strict=True)])
    assert effect.estimate == pytest.approx(-1.58)
    assert effect.estimate / effect.standard_error == pytest.approx(-4.0621, abs=1e-4)
    assert (effect.lower, effect.upper) == pytest.approx((-2.4599, -0.7001), abs=1e-4)
