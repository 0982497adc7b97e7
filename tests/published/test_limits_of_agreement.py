"""Limits of agreement against the worked example of Bland & Altman 1986 (Lancet i:307): peak flow by two meters.

The readings are in ``values``; the published results are typed in: difference -2.1 l/min, SD 38.8 (paper, p. 308), limits by 1.96 SD -78.10 and 73.87 (widely reprinted).
"""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.science.events.agreement import limits_of_agreement
from tests.published.values import numbers


def differences(reading: int) -> np.ndarray:
    return np.array([row[f"wright{reading}"] - row[f"mini{reading}"] for row in numbers("bland_altman_pefr")])


def test_first_readings_agree_as_the_paper_says() -> None:
    found = limits_of_agreement(differences(1))
    assert found.count == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert found.lower == pytest.approx(-78.10, abs=0.01)
    assert found.upper == pytest.approx(73.87, abs=0.01)


def test_two_standard_deviations_would_give_the_papers_own_limits() -> None:
    found = limits_of_agreement(differences(1))
    assert found.bias is not None
    assert found.sd is not None
    assert [found.bias - 2 * found.sd, found.bias + 2 * found.sd] == pytest.approx([-79.7, 75.5], abs=0.15)


def test_the_confidence_limits_of_the_paper_follow_from_bias_and_deviation() -> None:
    """SE of the bias 9.4, of a limit 16.3 l/min: SD / sqrt(n) and SD sqrt(3 / n) (paper, p. 309, from memory)."""
    found = limits_of_agreement(differences(1))
    assert found.sd is not None
    assert found.sd / np.sqrt(17) == pytest.approx(9.4, abs=0.05)
    assert found.sd * np.sqrt(3 / 17) == pytest.approx(16.3, abs=0.05)


def test_limits_are_those_of_an_independent_library() -> None:
    from scipy import stats

    d = differences(2)
    bias, sd = stats.describe(d).mean, np.sqrt(stats.describe(d).variance)
    found = limits_of_agreement(d)
    assert [found.lower, found.upper] == pytest.approx([bias - 1.96 * sd, bias + 1.96 * sd])
