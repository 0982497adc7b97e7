"""Intraclass correlations against the worked example of Shrout & Fleiss 1979, limits against Bland & Altman 1986.

Shrout & Fleiss, Psychol Bull 86:420, table 2: six targets, four judges (data from memory; all printed mean squares,
correlations and intervals come out of them). Bland & Altman, Lancet i:307: peak flow by two meters, data in ``values``.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.statistics.reliability import limits, reliability
from tests.published.values import numbers

JUDGED = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float)


def test_both_correlations_and_their_intervals_are_the_printed_ones() -> None:
    found = reliability(JUDGED)
    assert found is not None
    assert found.absolute.value == pytest.approx(0.29, abs=0.005)
    assert (found.absolute.lower, found.absolute.upper) == pytest.approx((0.019, 0.761), abs=0.001)
    assert found.consistent.value == pytest.approx(0.71, abs=0.005)
    assert (found.consistent.lower, found.consistent.upper) == pytest.approx((0.342, 0.946), abs=0.001)


def test_the_error_of_one_measurement_follows_from_the_printed_mean_squares() -> None:
    # between judges 32.49, residual 1.02: judges add (32.49 - 1.02) / 6
    found = reliability(JUDGED)
    assert found is not None
    assert found.error_within**2 == pytest.approx(1.02, abs=0.005)
    assert found.site_sd**2 == pytest.approx((32.49 - 1.02) / 6, abs=0.01)
    assert found.error**2 == pytest.approx(found.site_sd**2 + found.error_within**2)
    assert found.detectable == pytest.approx(1.96 * np.sqrt(2) * found.error)


def test_limits_of_agreement_and_their_intervals_are_the_published_ones() -> None:
    found = limits(np.array([row["wright1"] - row["mini1"] for row in numbers("bland_altman_pefr")]))
    assert (found.bias.value, found.sd) == pytest.approx((-2.1, 38.8), abs=0.05)
    assert (found.bias.lower, found.bias.upper) == pytest.approx((-22.0, 17.8), abs=0.06)
    assert (found.low.value, found.high.value) == pytest.approx((-78.10, 73.87), abs=0.01)
    # the paper's limits are 2 SD from the mean; their intervals are as wide as these: 2.12 standard errors of 16.3
    assert (found.low.upper - found.low.lower) / 2 == pytest.approx(114.3 - 79.7, abs=0.2)
